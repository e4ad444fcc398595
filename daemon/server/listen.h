/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Listening sockets. Both kinds are non-blocking and close on exec. */
#ifndef GRADUS_DAEMON_LISTEN_H
#define GRADUS_DAEMON_LISTEN_H

#include "core/basics/failure.h"

#include <stdbool.h>

/*
 * Listens at a Unix socket of mode 0660. A socket that nobody answers at is
 * replaced; one that a living process answers at, or anything that is no
 * socket, is refused. Returns the descriptor, or -1 with the failure set.
 * Only for a time with one thread, since it changes the umask for a moment.
 */
int listen_unix(const char *path, struct failure *failure);

/*
 * Listens at a numeric IPv4 or IPv6 address or "localhost"; port 0 lets the
 * system choose. Returns the descriptor, or -1 with the failure set.
 */
int listen_tcp(const char *address, int port, struct failure *failure);

/* The port a TCP socket is bound to; 0 when it is none. */
int listen_port(int descriptor);

/* Whether a TCP socket can be reached from this machine only. */
bool listen_is_loopback(int descriptor);

#endif
