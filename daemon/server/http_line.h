/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Tells a browser's first line from a JSON-RPC text, so that no page which is open on the
 * machine can have its form or script taken for a client's calls: what follows such a line is
 * never looked at.
 */
#ifndef GRADUS_DAEMON_HTTP_LINE_H
#define GRADUS_DAEMON_HTTP_LINE_H

#include <stdbool.h>
#include <stddef.h>

/*
 * Whether a line is the first of an HTTP request (RFC 9112, 3: method SP target SP version),
 * with or without a carriage return. No JSON text is.
 */
bool http_is_request(const char *line, size_t length);

/* The whole answer to such a line, but for its last newline; 400, and the connection ends. */
const char *http_refusal(void);

#endif
