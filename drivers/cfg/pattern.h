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

/* The byte after a bracket expression that begins at `at`: "]" first in it is a member. */
const char *pattern_skip_bracket(const char *at);

/*
 * Whether a pattern matches all `length` bytes of a text (terminated, and a
 * NUL inside it matches nothing), whatever anchors its alternatives have: the
 * match that POSIX chooses is the leftmost, and of these the longest. Nothing
 * matches a pattern that was compiled with REG_NOSUB, here and below.
 */
bool pattern_whole(const regex_t *pattern, const char *text, size_t length);

/* Whether a pattern matches a text from its first byte on. */
bool pattern_begins(const regex_t *pattern, const char *text);

/*
 * The number in the first brackets of a pattern that matches all of a text as
 * pattern_whole() has it. False where it does not match or the brackets have
 * lost a part of the number: a digit or point beside them, a sign before, an
 * exponent behind, also beyond blanks. `number` points into `text`.
 */
bool pattern_number(const regex_t *pattern, const char *text, size_t length, const char **number,
                    size_t *count);

#endif
