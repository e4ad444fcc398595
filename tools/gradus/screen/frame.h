/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * A screen that is drawn anew in place. The terminal is as it was, with the
 * last screen below the command line, once frame_close() has returned; when
 * the command is suspended or killed by the terminal it is put in order, too.
 */
#ifndef GRADUS_TOOLS_FRAME_H
#define GRADUS_TOOLS_FRAME_H

#include "terminal.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdio.h>

/* Whether standard output is a terminal that can be drawn on. */
bool frame_possible(void);

/* Takes the terminal. */
void frame_open(void);

/* Draws the lines of `text` from the top; what does not fit is cut, and the rest is cleared. */
void frame_draw(const struct terminal *terminal, const char *text);

/* Gives the terminal back and prints `text` on it; nothing when the terminal was not taken. */
void frame_close(const struct terminal *terminal, const char *text);

/*
 * Writes one line (without its newline) so that it takes at most `columns`.
 * Styles take none; a line that is cut ends in a mark, so that no cut number
 * looks whole, and in no style.
 */
void frame_put_line(FILE *stream, const char *line, size_t length, size_t columns, bool ascii);

/* Writes the lines of `text`, each made to fit the terminal. */
void frame_put_lines(const struct terminal *terminal, FILE *stream, const char *text);

#endif
