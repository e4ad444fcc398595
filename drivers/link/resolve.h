/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Host names into addresses within a deadline. Numeric hosts are read on the
 * spot; a name is looked up on a thread of its own, since the resolver knows
 * no deadline. A look-up that outlasts it is left to end by itself.
 */
#ifndef GRADUS_DRIVERS_RESOLVE_H
#define GRADUS_DRIVERS_RESOLVE_H

#include "core/basics/failure.h"
#include "drivers/basics/deadline.h"

#include <netdb.h>

/* Addresses for a TCP connection, or NULL. Free with freeaddrinfo(). */
struct addrinfo *resolve(const char *host, int port, struct deadline deadline,
                         struct failure *failure);

#endif
