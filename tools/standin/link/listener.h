/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Listening sockets for instruments and the control socket. */
#ifndef STANDIN_LISTENER_H
#define STANDIN_LISTENER_H

#include "tools/standin/basics/problem.h"

#include <event2/listener.h>
#include <stddef.h>

/* Where a socket listens. */
struct listener {
    struct evconnlistener *events;
    char path[108];    /* of a Unix socket, removed on close; else empty */
    char address[140]; /* as a client would write it, with the port that was really given */
};

/*
 * Listens at `tcp:IPV4:PORT` (port 0: any free one) or
 * `unix:/PATH` (a socket left there by an earlier run is replaced). False with
 * the problem told.
 */
bool listener_open(struct listener *listener, struct event_base *base, const char *where,
                   evconnlistener_cb accepted, void *argument, struct problem *problem);

/* Closes and removes the Unix socket. Harmless on one that was never opened. */
void listener_close(struct listener *listener);

#endif
