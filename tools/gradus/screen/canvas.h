/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * A rectangle of characters to draw a trace on. Dots are counted from the
 * lower left corner, characters from the upper left. With braille a
 * character holds 2 by 4 dots (Unicode block U+2800), in ASCII one.
 */
#ifndef GRADUS_TOOLS_CANVAS_H
#define GRADUS_TOOLS_CANVAS_H

#include <stdbool.h>
#include <stdio.h>

struct canvas;

/* The dot rows that are filled in one dot column, both included; low > high: none. */
struct span {
    int low;
    int high;
};

/* An empty canvas, sizes in characters, both > 0. Free with canvas_free(). */
struct canvas *canvas_new(int width, int height, bool ascii);

/* Accepts NULL. */
void canvas_free(struct canvas *canvas);

/* How many dots there are across and up. */
int canvas_dot_columns(const struct canvas *canvas);
int canvas_dot_rows(const struct canvas *canvas);

/* The character row and column that a dot row and column fall into. */
int canvas_row_of(const struct canvas *canvas, int dot_row);
int canvas_column_of(const struct canvas *canvas, int dot_column);

/* Fills a span of one dot column; what is outside the canvas is cut off. */
void canvas_column(struct canvas *canvas, int dot_column, struct span span);

/* A grid line through a character row or column; it shows where there are no dots. */
void canvas_grid_row(struct canvas *canvas, int row);
void canvas_grid_column(struct canvas *canvas, int column);

/* Writes one character row, without a newline. */
void canvas_write_row(const struct canvas *canvas, int row, FILE *stream);

#endif
