/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Whether bytes are UTF-8 (RFC 3629), before they go into messages and JSON: no
 * overlong forms, no surrogates, nothing beyond U+10FFFF.
 */
#ifndef GRADUS_CORE_UTF8_H
#define GRADUS_CORE_UTF8_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

/*
 * The character at the start of `text`, `length` bytes long. Returns how many
 * bytes it takes, 1 to 4, and sets *code; 0, writing nothing, where there is none.
 */
size_t utf8_decode(const char *text, size_t length, uint32_t *code);

/* Length of the longest prefix of `text` that is valid UTF-8; `length` when all of it is. */
size_t utf8_prefix(const char *text, size_t length);

/*
 * Whether a character is a control (Unicode's general category Cc), or one that turns the direction of
 * what is read or ends its line (Bidi_Control, U+2028 and U+2029; Unicode 15): nothing that is shown
 * to people holds one.
 */
bool utf8_steers(uint32_t code);

/* Puts ? in the place of each byte of such characters, and of bytes 0x80 to 0x9F that are of none. Returns `text`. */
char *utf8_tame(char *text);

/* Whether a terminated text is UTF-8 without control characters, fit to be shown. */
bool utf8_printable(const char *text);

#endif
