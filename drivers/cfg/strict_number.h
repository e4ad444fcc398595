/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Numbers as libconfig writes them: what the library would read as a
 * different number than the one written is refused. The library takes the
 * low 32 bits of an integer, the nearest 64-bit one when it ends in L, 0 for
 * a lone point, infinity or 0 for a decimal that a double cannot hold
 * (libconfig 1.5, its scanner; tried).
 */
#ifndef GRADUS_DRIVERS_STRICT_NUMBER_H
#define GRADUS_DRIVERS_STRICT_NUMBER_H

#include "problems.h"

#include <stdbool.h>
#include <stddef.h>

/* One number token. `text` is borrowed and not terminated. */
struct strict_token {
    const char *text;
    size_t length; /* 1 at least */
    bool hexadecimal;
    bool decimal;       /* with a point or an exponent */
    size_t digits;      /* in the mantissa */
    bool wide;          /* ends in L or LL */
    size_t value_bytes; /* length without L */
};

/* Whether a number begins with these two bytes. */
bool strict_token_begins(char byte, char next);

/* Reads the longest number token at the start of the text, by the library's grammar. */
void strict_token_read(const char *text, size_t length, struct strict_token *token);

/* Notes what is wrong with it at file:line. Returns whether it is a good number. */
bool strict_token_check(const struct strict_token *token, const char *file, int line,
                        struct problems *problems);

#endif
