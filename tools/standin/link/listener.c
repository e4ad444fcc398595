/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "listener.h"

#include <arpa/inet.h>
#include <errno.h>
#include <netinet/in.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <sys/stat.h>
#include <sys/un.h>
#include <unistd.h>

enum { BACKLOG = 64 };

/* Any kind of socket address, at its right alignment. */
union place {
    struct sockaddr any;
    struct sockaddr_un local;
    struct sockaddr_in inet;
};

static bool local_place(const char *path, union place *place, int *size)
{
    if (path[0] != '/' || strlen(path) >= sizeof place->local.sun_path)
        return false;
    place->local.sun_family = AF_UNIX;
    memcpy(place->local.sun_path, path, strlen(path) + 1);
    *size = (int)sizeof place->local;
    return true;
}

static bool inet_place(const char *text, union place *place, int *size)
{
    const char *colon = strrchr(text, ':');
    char host[INET6_ADDRSTRLEN] = "";
    char *end;

    if (colon == NULL || (size_t)(colon - text) >= sizeof host ||
        strspn(colon + 1, "0123456789") == 0)
        return false;
    memcpy(host, text, (size_t)(colon - text));
    unsigned long port = strtoul(colon + 1, &end, 10);
    place->inet.sin_family = AF_INET;
    place->inet.sin_port = htons((uint16_t)port);
    *size = (int)sizeof place->inet;
    return *end == '\0' && port <= UINT16_MAX &&
           inet_pton(AF_INET, host, &place->inet.sin_addr) == 1;
}

static bool place_of(const char *where, union place *place, int *size)
{
    *place = (union place) { 0 };
    if (strncmp(where, "unix:", 5) == 0)
        return local_place(where + 5, place, size);
    return strncmp(where, "tcp:", 4) == 0 && inet_place(where + 4, place, size);
}

static void remove_socket(const char *path)
{
    struct stat status;

    if (path[0] != '\0' && lstat(path, &status) == 0 && S_ISSOCK(status.st_mode))
        unlink(path);
}

/* Writes the address with the port that the system gave. */
static void note_address(struct listener *listener, const char *where)
{
    union place place = { 0 };
    socklen_t size = sizeof place;
    int host = (int)(strrchr(where, ':') - where);

    if (listener->path[0] != '\0') {
        snprintf(listener->address, sizeof listener->address, "%s", where);
        return;
    }
    if (getsockname(evconnlistener_get_fd(listener->events), &place.any, &size) == 0) {
        snprintf(listener->address, sizeof listener->address, "%.*s:%d", host, where,
                 ntohs(place.inet.sin_port));
    }
}

bool listener_open(struct listener *listener, struct event_base *base, const char *where,
                   evconnlistener_cb accepted, void *argument, struct problem *problem)
{
    union place place;
    int size;

    *listener = (struct listener) { 0 };
    if (!place_of(where, &place, &size))
        return problem_tell(problem, "%s: expected tcp:IPV4:PORT or unix:/PATH", where);
    if (place.any.sa_family == AF_UNIX)
        memcpy(listener->path, place.local.sun_path, sizeof place.local.sun_path);
    remove_socket(listener->path);
    listener->events = evconnlistener_new_bind(
        base, accepted, argument, LEV_OPT_CLOSE_ON_FREE | LEV_OPT_CLOSE_ON_EXEC | LEV_OPT_REUSEABLE,
        BACKLOG, &place.any, size);
    if (listener->events == NULL)
        return problem_tell(problem, "%s: %s", where, strerror(errno));
    note_address(listener, where);
    return true;
}

void listener_close(struct listener *listener)
{
    if (listener->events != NULL) {
        evconnlistener_free(listener->events);
        remove_socket(listener->path);
        listener->events = NULL;
    }
}
