/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The patterns of profiles: POSIX extended regular expressions. The C library
 * writes every repetition out when it compiles one, so that a line of text can
 * ask for all the memory there is; those are refused before it sees them.
 */
#ifndef GRADUS_DRIVERS_PATTERN_H
#define GRADUS_DRIVERS_PATTERN_H

#include <regex.h>
#include <stdbool.h>
#include <stddef.h>

enum { PATTERN_LENGTH = 256, PATTERN_ELEMENTS = 1000 };

/*
 * Compiles `text`; free with regfree(). False, with the reason written and
 * nothing to free, when it is no pattern, longer than PATTERN_LENGTH bytes, has
 * more than PATTERN_ELEMENTS elements with repetitions written out, or refers
 * back to a group (not in POSIX, and matching it can take for ever).
 */
bool pattern_compile(regex_t *pattern, const char *text, char *reason, size_t size);

#endif
