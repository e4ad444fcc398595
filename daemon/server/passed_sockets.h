/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Listening sockets that a service manager has opened and passed: LISTEN_PID, LISTEN_FDS and
 * LISTEN_FDNAMES, as the manual page sd_listen_fds(3) describes them. They are told apart by name,
 * since their order is not fixed.
 */
#ifndef GRADUS_DAEMON_PASSED_SOCKETS_H
#define GRADUS_DAEMON_PASSED_SOCKETS_H

#include "core/basics/failure.h"

#include <stdbool.h>

/* Which sockets there can be, and their descriptors; -1: none was passed. */
struct passed_sockets {
    int unix_socket; /* FileDescriptorName=gradus */
    int tcp_socket;  /* FileDescriptorName=gradus-tcp */
};

/*
 * Takes what was passed, as non-blocking sockets that close on exec, and the variables out of the
 * environment. False with the failure set for one with another name or none, a name that comes
 * twice, or one that is no listening stream socket of the family its name says. For a time with one
 * thread, before any other descriptor is opened.
 */
bool passed_sockets_take(struct passed_sockets *passed, struct failure *failure);

#endif
