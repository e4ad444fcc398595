/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * A table for people: columns aligned by what the text takes on the screen,
 * two spaces between them, and columns with nothing in them left out.
 */
#ifndef GRADUS_TOOLS_TABLE_H
#define GRADUS_TOOLS_TABLE_H

#include "terminal.h"

#include <stddef.h>

enum align { ALIGN_LEFT, ALIGN_RIGHT };

struct table_column {
    const char *heading; /* "" for none; NULL ends a list of columns */
    enum align align;
};

struct table;

/* A table without rows. `columns` ends with a NULL heading and must outlive the table. */
struct table *table_new(const struct table_column *columns);

/* Accepts NULL. */
void table_free(struct table *table);

/* Begins a row. */
void table_row(struct table *table);

/*
 * Fills the next cell of the row with printf text. One cell too many, or a
 * cell without a row, is a mistake of the caller's (assert).
 */
void table_cell(struct table *table, enum style style, const char *format, ...)
    __attribute__((format(printf, 3, 4)));

/* Leaves the next cell empty. */
void table_skip(struct table *table);

/*
 * Writes headings (where at least one column has one) and rows. Rows that
 * are short are filled with empty cells. No blanks at the end of a line. Where
 * the terminal is too narrow for the lines, columns are left out from the right
 * and standard error says which; the first and those without a heading stay.
 */
void table_print(const struct table *table, const struct terminal *terminal, FILE *stream);

#endif
