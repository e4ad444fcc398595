/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The command's side of TLS 1.3: who the daemon is, and perhaps who the command is. */
#ifndef GRADUS_TOOLS_SECURE_H
#define GRADUS_TOOLS_SECURE_H

#include "fault.h"
#include "tools/gradus/basics/options.h"

#include <stdbool.h>
#include <sys/types.h>

struct secure;

/*
 * Agrees on TLS over a connected descriptor that does not block, at most `within_ms`. The daemon
 * must show a certificate for `host` that is, or is from, the one in options->ca. NULL with the
 * fault filled in; the descriptor stays the caller's. Free with secure_close().
 */
struct secure *secure_open(int descriptor, const char *host, const struct options *options,
                           int within_ms, struct fault *fault);

/* Says that nothing more is sent. Accepts NULL. */
void secure_close(struct secure *secure);

/* As recv(2) and send(2) that do not block: -1 with EAGAIN, 0 at the end. */
ssize_t secure_read(struct secure *secure, void *bytes, size_t count);
ssize_t secure_write(struct secure *secure, const void *bytes, size_t count);

#endif
