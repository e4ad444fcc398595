/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Where the daemon listens, as written with --socket or in GRADUS_SOCKET:
 *     unix:/PATH     tcp:HOST:PORT     tcp:[IPV6]:PORT
 */
#ifndef GRADUS_TOOLS_ADDRESS_H
#define GRADUS_TOOLS_ADDRESS_H

#include "fault.h"

#include <stdbool.h>

struct address {
    bool tcp;
    char host[256]; /* TCP: name or number, without brackets */
    char port[8];   /* TCP: decimal, 1 to 65535 */
    char path[108]; /* Unix: as sun_path takes it */
};

/* Reads the text form. False, with the fault filled in, when it is none. */
bool address_parse(const char *text, struct address *address, struct fault *fault);

/*
 * Connects, within `within_ms` for each address that a host name has. Returns
 * a descriptor that does not block, or -1 with the fault filled in, which
 * then says how to start the daemon.
 *
 * text  as it was written, for the message
 */
int address_connect(const struct address *address, const char *text, int within_ms,
                    struct fault *fault);

#endif
