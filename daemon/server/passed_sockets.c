/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "passed_sockets.h"

#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <unistd.h>

/* The first descriptor that is passed, by the protocol. */
enum { FIRST = 3, MOST = 16 };

static const char unix_name[] = "gradus", tcp_name[] = "gradus-tcp";

static int socket_option(int descriptor, int option)
{
    int value = 0;
    socklen_t size = sizeof value;
    return getsockopt(descriptor, SOL_SOCKET, option, &value, &size) == 0 ? value : -1;
}

static bool listens(int descriptor, bool local)
{
    const int domain = socket_option(descriptor, SO_DOMAIN);
    const bool family = local ? domain == AF_UNIX : domain == AF_INET || domain == AF_INET6;
    return family && socket_option(descriptor, SO_TYPE) == SOCK_STREAM &&
           socket_option(descriptor, SO_ACCEPTCONN) == 1;
}

static bool take_one(struct passed_sockets *passed, int descriptor, const char *name,
                     struct failure *failure)
{
    const bool local = strcmp(name, unix_name) == 0;
    int *place = local ? &passed->unix_socket : &passed->tcp_socket;
    if (!local && strcmp(name, tcp_name) != 0)
        return failure_set(failure, FAILURE_SYSTEM, "FileDescriptorName=", "gradus or gradus-tcp",
                           "a socket named \"%s\" was passed", name);
    if (*place >= 0)
        return failure_set(failure, FAILURE_SYSTEM, name, "one ListenStream= a socket unit",
                           "two sockets of this name were passed");
    if (!listens(descriptor, local))
        return failure_set(failure, FAILURE_SYSTEM, name,
                           local ? "a path at ListenStream="
                                 : "an address and port at ListenStream=",
                           "what was passed is no such listening socket");
    if (fcntl(descriptor, F_SETFD, FD_CLOEXEC) != 0 ||
        fcntl(descriptor, F_SETFL, fcntl(descriptor, F_GETFL) | O_NONBLOCK) != 0)
        return failure_set(failure, FAILURE_SYSTEM, name, NULL, "%s", strerror(errno));
    *place = descriptor;
    return true;
}

/* How many sockets are passed to this very process. */
static int passed_count(void)
{
    const char *pid = getenv("LISTEN_PID");
    const char *count = getenv("LISTEN_FDS");
    if (pid == NULL || count == NULL || strtol(pid, NULL, 10) != getpid())
        return 0;
    return (int)strtol(count, NULL, 10);
}

static bool take_all(struct passed_sockets *passed, int count, struct failure *failure)
{
    char names[512];
    const char *given = getenv("LISTEN_FDNAMES");
    char *rest = names;
    if (count < 0 || count > MOST)
        return failure_set(failure, FAILURE_SYSTEM, "LISTEN_FDS", "1 or 2", "%d sockets are passed",
                           count);
    snprintf(names, sizeof names, "%s", given != NULL ? given : "");
    for (int i = 0; i < count; i++) {
        const char *name = strsep(&rest, ":");
        if (!take_one(passed, FIRST + i, name != NULL ? name : "", failure))
            return false;
    }
    return true;
}

bool passed_sockets_take(struct passed_sockets *passed, struct failure *failure)
{
    *passed = (struct passed_sockets) { -1, -1 };
    bool taken = take_all(passed, passed_count(), failure);
    unsetenv("LISTEN_PID");
    unsetenv("LISTEN_FDS");
    unsetenv("LISTEN_FDNAMES");
    return taken;
}
