/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Text on its way to a terminal. Names, identities and messages come from
 * settings files and instruments, so nothing in them may steer the terminal:
 * control characters and bytes that are not UTF-8 are written as "\xNN".
 * Knows no locale; whoever calls says whether the terminal takes UTF-8.
 */
#ifndef GRADUS_TOOLS_TEXT_H
#define GRADUS_TOOLS_TEXT_H

#include <stdbool.h>
#include <stddef.h>

/*
 * A printable copy of `text` (free with free()). With `ascii` the signs of
 * the trade are spelt out (Ω "Ohm", µ "u", ± "+/-", ° "deg") and anything
 * else beyond ASCII becomes "?".
 */
char *text_printable(const char *text, bool ascii);

/*
 * A copy of `text` (free with free()) for documents: bytes that are not UTF-8 and control
 * characters but line ends are "?", and what would turn the text around it is U+FFFD.
 */
char *text_tame(const char *text);

/* Columns that printable UTF-8 text takes: combining marks none, wide characters two. */
size_t text_width(const char *text);

/*
 * The longest prefix of printable `text` that takes at most `columns`, in bytes.
 */
size_t text_fit(const char *text, size_t columns);

#endif
