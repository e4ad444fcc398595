/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A margin to a limit in words: 1 in the middle, 0 at the limit, below 0 beyond it. */
#ifndef GRADUS_TOOLS_MARGIN_H
#define GRADUS_TOOLS_MARGIN_H

#include <stdbool.h>

enum { MARGIN_TEXT = 16 };

/* Whether it is below -1: beyond the limit by more than from the middle to it, however far. */
bool margin_is_far(double margin);

/* "98 %", rounded down; "far outside"; "-" where there is none. Returns text. */
char *margin_text(double margin, char text[MARGIN_TEXT]);

#endif
