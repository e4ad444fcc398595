/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * TCP and Unix stream sockets. A message goes out with one write and without
 * delay, and a peer that has vanished is noticed by keep-alive and the user
 * timeout rather than after minutes (tcp(7): TCP_NODELAY, SO_KEEPALIVE,
 * TCP_USER_TIMEOUT).
 */
#include "link_fd.h"
#include "link_kinds.h"
#include "resolve.h"

#include <errno.h>
#include <netinet/in.h>
#include <netinet/tcp.h>
#include <poll.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <sys/un.h>
#include <unistd.h>

enum { IDLE_S = 10, PROBE_EVERY_S = 5, PROBES = 3, UNANSWERED_MS = 15000, RETRY_MS = 2 };

struct stream {
    int fd;
};

static bool not_connected(struct failure *failure, const struct link_spec *spec, int error)
{
    /* What a firewall of the service refuses comes back as a lack of permission. */
    static const char allow[] = "its address in IPAddressAllow= (systemctl edit gradusd)";
    errno = error;
    return failure_set(failure, FAILURE_DISCONNECTED, NULL, error == EPERM ? allow : NULL, "%s: %m",
                       spec->text);
}

/* Waits for a connection in the making. */
static bool finish_connect(int fd, const struct link_spec *spec, struct deadline deadline,
                           struct failure *failure)
{
    int error = 0;
    socklen_t size = sizeof error;

    if (!fd_wait(fd, POLLOUT, deadline))
        return failure_set(failure, FAILURE_TIMEOUT, NULL, NULL, "%s: no connection in time",
                           spec->text);
    if (getsockopt(fd, SOL_SOCKET, SO_ERROR, &error, &size) != 0)
        error = errno;
    return error == 0 || not_connected(failure, spec, error);
}

/*
 * A Unix socket whose listener's queue is full says so at once and can only
 * be tried again after a while; anything else either connects or is waited for.
 */
static bool connect_in_time(int fd, const struct sockaddr *address, socklen_t size,
                            const struct link_spec *spec, struct deadline deadline,
                            struct failure *failure)
{
    while (connect(fd, address, size) != 0) {
        if (errno == EINPROGRESS || errno == EINTR)
            return finish_connect(fd, spec, deadline, failure);
        if (errno != EAGAIN)
            return not_connected(failure, spec, errno);
        if (deadline_passed(deadline))
            return failure_set(failure, FAILURE_TIMEOUT, NULL, NULL, "%s: no connection in time",
                               spec->text);
        poll(NULL, 0, RETRY_MS);
    }
    return true;
}

static int stream_connect(const struct sockaddr *address, socklen_t size,
                          const struct link_spec *spec, struct deadline deadline,
                          struct failure *failure)
{
    int fd = socket(address->sa_family, SOCK_STREAM | SOCK_NONBLOCK | SOCK_CLOEXEC, 0);

    if (fd < 0) {
        failure_set(failure, FAILURE_SYSTEM, NULL, NULL, "%s: socket: %m", spec->text);
        return -1;
    }
    if (connect_in_time(fd, address, size, spec, deadline, failure))
        return fd;
    close(fd);
    return -1;
}

static struct stream *stream_new(int fd, struct failure *failure)
{
    struct stream *stream = malloc(sizeof *stream);

    if (stream) {
        stream->fd = fd;
        return stream;
    }
    close(fd);
    failure_no_memory(failure, "a link");
    return NULL;
}

static void *unix_open(const struct link_spec *spec, struct deadline deadline,
                       struct failure *failure)
{
    struct sockaddr_un address = { .sun_family = AF_UNIX };
    int fd;

    if (strlen(spec->address) >= sizeof address.sun_path) {
        failure_set(failure, FAILURE_SETTINGS, NULL, NULL, "%s: path too long", spec->text);
        return NULL;
    }
    memcpy(address.sun_path, spec->address, strlen(spec->address) + 1);
    fd = stream_connect((const struct sockaddr *)&address, sizeof address, spec, deadline, failure);
    return fd < 0 ? NULL : stream_new(fd, failure);
}

/* Without them a link still works, only slower or slower to notice: no error is made of it. */
static void set_tcp_options(int fd)
{
    static const struct {
        int level, option, value;
    } options[] = {
        { IPPROTO_TCP, TCP_NODELAY, 1 },       { SOL_SOCKET, SO_KEEPALIVE, 1 },
        { IPPROTO_TCP, TCP_KEEPIDLE, IDLE_S }, { IPPROTO_TCP, TCP_KEEPINTVL, PROBE_EVERY_S },
        { IPPROTO_TCP, TCP_KEEPCNT, PROBES },  { IPPROTO_TCP, TCP_USER_TIMEOUT, UNANSWERED_MS },
    };

    for (size_t i = 0; i < sizeof options / sizeof *options; i++)
        setsockopt(fd, options[i].level, options[i].option, &options[i].value,
                   sizeof options[i].value);
}

static int count_addresses(const struct addrinfo *address)
{
    int count = 0;

    for (; address; address = address->ai_next)
        count++;
    return count;
}

/* Tries each address of a host, each with its share of the time that is left. */
static int connect_any(const struct addrinfo *addresses, const struct link_spec *spec,
                       struct deadline deadline, struct failure *failure)
{
    struct failure first;
    int fd = -1;

    failure_clear(&first);
    for (const struct addrinfo *one = addresses; one && fd < 0; one = one->ai_next) {
        double share = deadline_left_ms(deadline) / count_addresses(one);

        fd = stream_connect(one->ai_addr, one->ai_addrlen, spec,
                            deadline_sooner(deadline, deadline_in(share)), &first);
    }
    if (fd < 0)
        failure_set(failure, first.code, NULL, NULL, "%s", first.what);
    return fd;
}

static void *tcp_open(const struct link_spec *spec, struct deadline deadline,
                      struct failure *failure)
{
    struct addrinfo *addresses = resolve(spec->address, spec->port, deadline, failure);
    int fd;

    if (!addresses)
        return NULL;
    fd = connect_any(addresses, spec, deadline, failure);
    freeaddrinfo(addresses);
    if (fd < 0)
        return NULL;
    set_tcp_options(fd);
    return stream_new(fd, failure);
}

static bool stream_write(void *self, const char *bytes, size_t count, struct deadline deadline,
                         struct failure *failure)
{
    const struct stream *stream = self;

    return fd_write(stream->fd, FD_SOCKET, bytes, count, deadline, failure);
}

static enum link_result stream_read(void *self, char *bytes, size_t capacity, size_t *count,
                                    bool *end, struct deadline deadline, struct failure *failure)
{
    const struct stream *stream = self;

    *end = false;
    return fd_read(stream->fd, bytes, capacity, count, deadline, failure);
}

static bool stream_present(void *self, struct failure *failure)
{
    const struct stream *stream = self;

    return fd_present(stream->fd, FD_SOCKET, failure);
}

static void stream_close(void *self)
{
    struct stream *stream = self;

    close(stream->fd);
    free(stream);
}

const struct link_ops link_tcp_ops = {
    .name = "tcp",
    .open = tcp_open,
    .write = stream_write,
    .read = stream_read,
    .present = stream_present,
    .close = stream_close,
};

const struct link_ops link_unix_ops = {
    .name = "unix",
    .open = unix_open,
    .write = stream_write,
    .read = stream_read,
    .present = stream_present,
    .close = stream_close,
};
