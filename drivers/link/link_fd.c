/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "link_fd.h"

#include <errno.h>
#include <fcntl.h>
#include <poll.h>
#include <sys/socket.h>
#include <unistd.h>

static bool would_block(int error)
{
    return error == EAGAIN || error == EWOULDBLOCK || error == EINTR;
}

bool fd_wait(int fd, short events, struct deadline deadline)
{
    struct pollfd poller = { .fd = fd, .events = events };

    for (;;) {
        int left = deadline_poll_ms(deadline);

        if (poll(&poller, 1, left) > 0)
            return true;
        if (left == 0)
            return false;
    }
}

bool fd_prepare(int fd, struct failure *failure)
{
    int flags = fcntl(fd, F_GETFL);

    if (flags >= 0 && fcntl(fd, F_SETFL, flags | O_NONBLOCK) == 0 &&
        fcntl(fd, F_SETFD, FD_CLOEXEC) == 0)
        return true;
    return failure_set(failure, FAILURE_SYSTEM, NULL, NULL, "descriptor flags: %m");
}

bool fd_write(int fd, enum fd_kind kind, const char *bytes, size_t count, struct deadline deadline,
              struct failure *failure)
{
    size_t done = 0;

    while (done < count) {
        ssize_t n = kind == FD_SOCKET ? send(fd, bytes + done, count - done, MSG_NOSIGNAL)
                                      : write(fd, bytes + done, count - done);

        if (n > 0)
            done += (size_t)n;
        else if (n < 0 && !would_block(errno))
            return failure_set(failure, FAILURE_DISCONNECTED, NULL, NULL, "write: %m");
        else if (!fd_wait(fd, POLLOUT, deadline))
            return failure_set(failure, FAILURE_TIMEOUT, NULL, NULL,
                               "only %zu of %zu bytes could be sent", done, count);
    }
    return true;
}

enum link_result fd_read(int fd, char *bytes, size_t capacity, size_t *count,
                         struct deadline deadline, struct failure *failure)
{
    for (;;) {
        bool last = deadline_passed(deadline);
        ssize_t n;

        if (!last)
            fd_wait(fd, POLLIN, deadline);
        n = read(fd, bytes, capacity);
        if (n > 0) {
            *count = (size_t)n;
            return LINK_BYTES;
        }
        if (n == 0) {
            failure_set(failure, FAILURE_DISCONNECTED, NULL, NULL, "the other side is gone");
            return LINK_BROKEN;
        }
        if (!would_block(errno)) {
            failure_set(failure, FAILURE_DISCONNECTED, NULL, NULL, "read: %m");
            return LINK_BROKEN;
        }
        if (last && errno != EINTR)
            return LINK_QUIET;
    }
}

/* Bytes that wait are no end, whatever stands behind them. */
static bool socket_present(int fd, struct failure *failure)
{
    char byte;
    ssize_t n = recv(fd, &byte, 1, MSG_PEEK | MSG_DONTWAIT);

    if (n > 0 || (n < 0 && would_block(errno)))
        return true;
    if (n == 0)
        return failure_set(failure, FAILURE_DISCONNECTED, NULL, NULL,
                           "the other side has closed the connection");
    return failure_set(failure, FAILURE_DISCONNECTED, NULL, NULL, "connection lost: %m");
}

static bool terminal_present(int fd, struct failure *failure)
{
    struct pollfd poller = { .fd = fd };

    if (poll(&poller, 1, 0) <= 0 || !(poller.revents & (POLLHUP | POLLERR | POLLNVAL)))
        return true;
    return failure_set(failure, FAILURE_DISCONNECTED, NULL, NULL, "unplugged");
}

bool fd_present(int fd, enum fd_kind kind, struct failure *failure)
{
    return kind == FD_SOCKET ? socket_present(fd, failure) : terminal_present(fd, failure);
}
