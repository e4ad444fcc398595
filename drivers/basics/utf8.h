/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Whether bytes are UTF-8 (RFC 3629), before they go into messages and JSON. */
#ifndef GRADUS_DRIVERS_UTF8_H
#define GRADUS_DRIVERS_UTF8_H

#include <stdbool.h>
#include <stddef.h>

/* Length of the longest prefix of `text` that is valid UTF-8; `length` when all of it is. */
size_t utf8_prefix(const char *text, size_t length);

/* Whether a terminated text is UTF-8 without control characters, fit to be shown. */
bool utf8_printable(const char *text);

#endif
