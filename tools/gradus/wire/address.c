/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "address.h"

#include "tools/gradus/basics/status.h"

#include <errno.h>
#include <netdb.h>
#include <poll.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <sys/un.h>
#include <unistd.h>

static const char unix_prefix[] = "unix:";
static const char tcp_prefix[] = "tcp:";

static bool malformed(struct fault *fault, const char *text)
{
    fault_set(fault, STATUS_USAGE, "socket address", "\"%s\"", text);
    snprintf(fault->expected, sizeof fault->expected,
             "unix:/PATH, tcp:HOST:PORT or tcp:[IPV6]:PORT");
    return false;
}

static bool parse_unix(const char *path, struct address *address)
{
    const size_t length = strlen(path);
    if (path[0] != '/' || length >= sizeof address->path)
        return false;
    memcpy(address->path, path, length + 1);
    return true;
}

static bool parse_port(const char *text, struct address *address)
{
    const size_t length = strlen(text);
    if (length < 1 || length > 5 || strspn(text, "0123456789") != length)
        return false;
    const long port = strtol(text, NULL, 10);
    snprintf(address->port, sizeof address->port, "%s", text);
    return port >= 1 && port <= 65535;
}

/* The host ends at the last colon; one that holds colons itself stands in brackets. */
static bool parse_tcp(const char *text, struct address *address)
{
    const char *const colon = strrchr(text, ':');
    if (colon == NULL || colon == text)
        return false;
    size_t length = (size_t)(colon - text);
    if (text[0] == '[' && colon[-1] == ']' && length > 2) {
        text++;
        length -= 2;
    } else if (memchr(text, ':', length) != NULL) {
        return false;
    }
    if (length >= sizeof address->host)
        return false;
    memcpy(address->host, text, length);
    address->host[length] = '\0';
    return parse_port(colon + 1, address);
}

bool address_parse(const char *text, struct address *address, struct fault *fault)
{
    struct address parsed = { 0 };
    bool fine = false;
    if (strncmp(text, unix_prefix, strlen(unix_prefix)) == 0) {
        fine = parse_unix(text + strlen(unix_prefix), &parsed);
    } else if (strncmp(text, tcp_prefix, strlen(tcp_prefix)) == 0) {
        parsed.tcp = true;
        fine = parse_tcp(text + strlen(tcp_prefix), &parsed);
    }
    if (!fine)
        return malformed(fault, text);
    *address = parsed;
    return true;
}

static const char *advice(int error, bool tcp)
{
    if (error == EACCES || error == EPERM)
        return "permission to open that socket: ask to be put in the group that owns it";
    return tcp ? "a daemon there: start gradusd and enable server.tcp in its settings, or name"
                 " another place with --socket or GRADUS_SOCKET"
               : "a daemon there: start it (systemctl start gradusd, or gradusd --settings"
                 " FILE), or name another place with --socket or GRADUS_SOCKET";
}

static int unreachable(struct fault *fault, const char *text, int error, bool tcp)
{
    fault_set(fault, STATUS_NO_READING, "no daemon", "tried %s: %s", text, strerror(error));
    snprintf(fault->expected, sizeof fault->expected, "%s", advice(error, tcp));
    return -1;
}

/* Connects a descriptor that does not block. Returns 0 or the error. */
static int connect_within(int descriptor, const struct sockaddr *to, socklen_t length, int within)
{
    if (connect(descriptor, to, length) == 0)
        return 0;
    if (errno != EINPROGRESS)
        return errno;
    struct pollfd ready = { .fd = descriptor, .events = POLLOUT };
    const int events = poll(&ready, 1, within);
    if (events <= 0)
        return events == 0 ? ETIMEDOUT : errno;
    int error = 0;
    socklen_t size = sizeof error;
    getsockopt(descriptor, SOL_SOCKET, SO_ERROR, &error, &size);
    return error;
}

/* Opens and connects one socket. Returns the descriptor, or -1 with *error set. */
static int try_one(int family, const struct sockaddr *to, socklen_t length, int within, int *error)
{
    const int descriptor = socket(family, SOCK_STREAM | SOCK_NONBLOCK | SOCK_CLOEXEC, 0);
    if (descriptor < 0) {
        *error = errno;
        return -1;
    }
    *error = connect_within(descriptor, to, length, within);
    if (*error != 0) {
        close(descriptor);
        return -1;
    }
    return descriptor;
}

static int connect_unix(const struct address *address, int within, int *error)
{
    struct sockaddr_un to = { .sun_family = AF_UNIX };
    memcpy(to.sun_path, address->path, strlen(address->path) + 1);
    const struct sockaddr *const generic = (const struct sockaddr *)&to;
    return try_one(AF_UNIX, generic, sizeof to, within, error);
}

/* A daemon or network that dies without a word is noticed by keep-alive. */
static void keep_alive(int descriptor)
{
    const int on = 1;
    setsockopt(descriptor, SOL_SOCKET, SO_KEEPALIVE, &on, sizeof on);
}

static int connect_tcp(const struct addrinfo *list, int within, int *error)
{
    for (const struct addrinfo *at = list; at != NULL; at = at->ai_next) {
        const int descriptor = try_one(at->ai_family, at->ai_addr, at->ai_addrlen, within, error);
        if (descriptor >= 0) {
            keep_alive(descriptor);
            return descriptor;
        }
    }
    return -1;
}

int address_connect(const struct address *address, const char *text, int within_ms,
                    struct fault *fault)
{
    int error = 0;
    if (!address->tcp) {
        const int descriptor = connect_unix(address, within_ms, &error);
        return descriptor >= 0 ? descriptor : unreachable(fault, text, error, false);
    }
    const struct addrinfo hints = { .ai_family = AF_UNSPEC, .ai_socktype = SOCK_STREAM };
    struct addrinfo *list = NULL;
    const int result = getaddrinfo(address->host, address->port, &hints, &list);
    if (result != 0) {
        fault_set(fault, STATUS_NO_READING, "no daemon", "tried %s: %s", text,
                  gai_strerror(result));
        return -1;
    }
    const int descriptor = connect_tcp(list, within_ms, &error);
    freeaddrinfo(list);
    return descriptor >= 0 ? descriptor : unreachable(fault, text, error, true);
}
