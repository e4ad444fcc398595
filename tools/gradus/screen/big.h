/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Text in characters five rows high, to be read from across a bench. A
 * unit's prefix keeps its case: m and M are different signs.
 */
#ifndef GRADUS_TOOLS_BIG_H
#define GRADUS_TOOLS_BIG_H

#include "terminal.h"

#include <stdbool.h>
#include <stdio.h>

enum { BIG_ROWS = 5 };

/* Columns that the text takes; 0: there is a character that cannot be drawn big. */
int big_width(const char *text);

/*
 * Draws the text in BIG_ROWS lines in a style. False, drawing nothing, when a character cannot
 * be drawn or the terminal is too narrow.
 */
bool big_draw(const struct terminal *terminal, FILE *stream, enum style style, const char *text);

#endif
