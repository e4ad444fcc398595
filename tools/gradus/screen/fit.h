/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Making things fit: lines onto a screen, names into a column. */
#ifndef GRADUS_TOOLS_FIT_H
#define GRADUS_TOOLS_FIT_H

#include "terminal.h"

#include <stdbool.h>
#include <stddef.h>

/*
 * Divides `room` lines among `count` lists that want so many each: one after
 * the other gets one more, until there is no room or nobody wants more. What
 * comes first loses last.
 */
void fit_lines(size_t room, const size_t *wanted, size_t count, size_t *given);

/*
 * A copy of printable `text` that takes at most `columns` (free with free()).
 * Names differ at their ends, so what is too long loses its middle.
 */
char *fit_text(const char *text, size_t columns, bool ascii);

/* A copy of any text, made printable and made to fit as above. */
char *fit_printable(const struct terminal *terminal, const char *text, size_t columns);

/* Writes text made printable, made to fit, and filled with blanks to that many columns. */
void fit_put(const struct terminal *terminal, FILE *stream, const char *text, size_t columns);

#endif
