/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "listen.h"

#include <arpa/inet.h>
#include <errno.h>
#include <netdb.h>
#include <netinet/in.h>
#include <stdio.h>
#include <string.h>
#include <sys/socket.h>
#include <sys/stat.h>
#include <sys/un.h>
#include <unistd.h>

enum { BACKLOG = 64 };

static int fail(struct failure *failure, const char *where, const char *what, int error)
{
    failure_set(failure, FAILURE_SYSTEM, where, NULL, "%s: %s", what, strerror(error));
    return -1;
}

static int fail_close(struct failure *failure, const char *where, const char *what, int descriptor)
{
    int error = errno;
    close(descriptor);
    return fail(failure, where, what, error);
}

static int stream_socket(int family)
{
    return socket(family, SOCK_STREAM | SOCK_CLOEXEC | SOCK_NONBLOCK, 0);
}

static bool unix_address(const char *path, struct sockaddr_un *address)
{
    size_t length = strlen(path);
    memset(address, 0, sizeof *address);
    address->sun_family = AF_UNIX;
    if (length == 0 || length >= sizeof address->sun_path)
        return false;
    memcpy(address->sun_path, path, length);
    return true;
}

/* Whether the socket file at an address has nobody behind it any more. */
static bool is_stale(const struct sockaddr_un *address)
{
    struct stat status;
    if (lstat(address->sun_path, &status) != 0 || !S_ISSOCK(status.st_mode))
        return false;
    int probe = stream_socket(AF_UNIX);
    if (probe < 0)
        return false;
    int result = connect(probe, (const struct sockaddr *)address, sizeof *address);
    bool refused = result != 0 && errno == ECONNREFUSED;
    close(probe);
    return refused;
}

/* Binds with mode 0660 from the first moment on. */
static bool bind_unix(int descriptor, const struct sockaddr_un *address)
{
    mode_t before = umask(0117);
    int result = bind(descriptor, (const struct sockaddr *)address, sizeof *address);
    int error = errno;
    umask(before);
    errno = error;
    return result == 0;
}

int listen_unix(const char *path, struct failure *failure)
{
    struct sockaddr_un address;
    if (!unix_address(path, &address)) {
        failure_set(failure, FAILURE_SETTINGS, path, "a path of 1 to 107 bytes",
                    "the path of a Unix socket has %zu bytes", strlen(path));
        return -1;
    }
    int descriptor = stream_socket(AF_UNIX);
    if (descriptor < 0)
        return fail(failure, path, "no socket", errno);
    bool bound = bind_unix(descriptor, &address);
    if (!bound && errno == EADDRINUSE) {
        if (!is_stale(&address)) {
            errno = EADDRINUSE;
            return fail_close(failure, path, "another process listens there", descriptor);
        }
        unlink(path);
        bound = bind_unix(descriptor, &address);
    }
    if (!bound || listen(descriptor, BACKLOG) != 0)
        return fail_close(failure, path, "cannot listen", descriptor);
    return descriptor;
}

static int listen_at(const struct addrinfo *info, const char *where, struct failure *failure)
{
    const int on = 1;
    int descriptor = stream_socket(info->ai_family);
    if (descriptor < 0)
        return fail(failure, where, "no socket", errno);
    setsockopt(descriptor, SOL_SOCKET, SO_REUSEADDR, &on, sizeof on);
    if (bind(descriptor, info->ai_addr, info->ai_addrlen) != 0 || listen(descriptor, BACKLOG) != 0)
        return fail_close(failure, where, "cannot listen", descriptor);
    return descriptor;
}

int listen_tcp(const char *address, int port, struct failure *failure)
{
    char service[16], where[96];
    const bool local = strcmp(address, "localhost") == 0;
    const struct addrinfo hints = { .ai_flags = AI_NUMERICHOST | AI_NUMERICSERV | AI_PASSIVE,
                                    .ai_socktype = SOCK_STREAM };
    struct addrinfo *info;
    snprintf(service, sizeof service, "%d", port);
    snprintf(where, sizeof where, "%s port %d", address, port);
    int error = getaddrinfo(local ? "127.0.0.1" : address, service, &hints, &info);
    if (error != 0) {
        failure_set(failure, FAILURE_SETTINGS, where, "a numeric address", "%s",
                    gai_strerror(error));
        return -1;
    }
    int descriptor = listen_at(info, where, failure);
    freeaddrinfo(info);
    return descriptor;
}

union socket_address {
    struct sockaddr any;
    struct sockaddr_in v4;
    struct sockaddr_in6 v6;
    struct sockaddr_storage room;
};

static union socket_address own_address(int descriptor)
{
    union socket_address address;
    socklen_t length = sizeof address;
    memset(&address, 0, sizeof address);
    if (getsockname(descriptor, &address.any, &length) != 0)
        address.any.sa_family = AF_UNSPEC;
    return address;
}

int listen_port(int descriptor)
{
    const union socket_address address = own_address(descriptor);
    if (address.any.sa_family == AF_INET)
        return ntohs(address.v4.sin_port);
    return address.any.sa_family == AF_INET6 ? ntohs(address.v6.sin6_port) : 0;
}

bool listen_is_loopback(int descriptor)
{
    const union socket_address address = own_address(descriptor);
    if (address.any.sa_family == AF_INET)
        return ntohl(address.v4.sin_addr.s_addr) >> 24 == 127;
    return address.any.sa_family == AF_INET6 && IN6_IS_ADDR_LOOPBACK(&address.v6.sin6_addr);
}
