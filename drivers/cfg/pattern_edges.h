/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * What the text of a pattern says about its edges: whether all of its
 * alternatives are anchored, and whether its number can lose a part.
 */
#ifndef GRADUS_DRIVERS_PATTERN_EDGES_H
#define GRADUS_DRIVERS_PATTERN_EDGES_H

#include <stdbool.h>

/*
 * Whether each alternative begins with ^, and with `to_the_end` ends with $
 * too. Of a|b that are in no brackets both have to.
 *
 * text  a pattern that pattern_compile() takes
 */
bool pattern_anchored(const char *text, bool to_the_end);

/*
 * Whether what stands right before the first brackets can end with a digit,
 * a point or a sign, or what stands right behind them can begin with a digit
 * or a point: a part of the number could then be left out of the brackets.
 * False where there are none outside other brackets.
 *
 * text  a pattern that pattern_compile() takes
 */
bool pattern_cuts_number(const char *text);

#endif
