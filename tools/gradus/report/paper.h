/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * A4 pages of a PDF, filled from top to bottom: whatever is put on the page
 * says how high it is, and begins a new page when there is no room. Text is
 * set by Pango, which finds glyphs for any script; what is too long for its
 * place is broken into lines, and nothing is cut. Lengths are points.
 */
#ifndef GRADUS_TOOLS_PAPER_H
#define GRADUS_TOOLS_PAPER_H

#include "pen.h"

#include <cairo.h>
#include <stdbool.h>
#include <stdio.h>

struct paper_column {
    const char *heading;
    double width; /* what is left free behind it included */
};

struct paper {
    cairo_t *cairo;
    const char *title;                  /* at the foot of each page; borrowed */
    double y;                           /* upper edge of what comes next */
    int number;                         /* of the page */
    int total;                          /* of pages that are spoken of */
    const struct paper_column *columns; /* of the table; NULL: there is none */
    size_t column_count;
    size_t rows; /* of the table that are still to come */
};

enum paper_weight { PAPER_PLAIN, PAPER_BOLD };

/* The edges of what is written on, and sizes of text. */
extern const double paper_margin, paper_width, paper_small, paper_plain;

/*
 * Lays a document out with `lay_out`, twice: for the first time to know how many pages
 * there are. False when it could not be written.
 */
bool paper_write(FILE *out, const char *title,
                 void (*lay_out)(struct paper *paper, const void *context), const void *context);

/* Makes room for what is so high: on the next page when this one is too full. */
void paper_need(struct paper *paper, double height);

/* How wide a text is in one line, and how high in lines of a width. */
double paper_length(const struct paper *paper, double size, enum paper_weight weight,
                    const char *text);
double paper_height(const struct paper *paper, double size, enum paper_weight weight, double width,
                    const char *text);

/* Writes a text with its upper left corner there; width 0: in one line. Returns its height. */
double paper_put(const struct paper *paper, enum ink ink, double size, enum paper_weight weight,
                 double x, double y, double width, const char *text);

/*
 * Shows a PNG file with its upper right corner there, no larger than width and height. Returns how
 * high it is; 0: it cannot be read.
 */
double paper_picture(const struct paper *paper, const char *path, double right, double y,
                     double width, double height);

/* Writes a paragraph as wide as the page. */
void paper_paragraph(struct paper *paper, enum ink ink, double size, enum paper_weight weight,
                     const char *text);

/*
 * Writes a heading, and notes it in the outline. It is not left alone at the foot of a page:
 * `with` is how high what must follow it there is. Ends a table.
 */
void paper_heading(struct paper *paper, const char *text, double with);

/*
 * Begins a table of so many rows under a heading: that of its columns come again at the top of
 * each page. The last few rows stay together.
 */
void paper_table(struct paper *paper, const char *title, const struct paper_column *columns,
                 size_t count, size_t rows);

/* Writes a row, a cell for each column, at least so high. Returns its upper edge. */
double paper_row(struct paper *paper, enum ink ink, const char *const *cells, double least);

/* Between these two what is written leads to a place in the document, which must be there. */
void paper_link(const struct paper *paper, const char *place);
void paper_link_end(const struct paper *paper);

/* Makes a place of where the next thing is written. */
void paper_place(const struct paper *paper, const char *place);

/* A pen that draws on the page. */
struct pen paper_pen(const struct paper *paper);

#endif
