/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Comma-separated values after RFC 4180: CR LF ends a record, a field is
 * quoted when it holds a comma, a quote or a line end. Numbers have the
 * fewest digits that give back the same number (17 at most).
 */
#ifndef GRADUS_TOOLS_CSV_H
#define GRADUS_TOOLS_CSV_H

#include <jansson.h>
#include <stdio.h>

enum { CSV_NUMBER_SIZE = 32 };

/* A column: its heading, and where the value stands, "range.at_tip". NULL heading ends a list. */
struct csv_column {
    const char *heading;
    const char *path;
};

/* Writes the fewest digits that give the number back; "" for one that is not finite. */
char *csv_number(char text[CSV_NUMBER_SIZE], double number);

/* Writes one field, quoted where needed. */
void csv_field(FILE *stream, const char *text);

/* Writes the heading record. */
void csv_header(FILE *stream, const struct csv_column *columns);

/*
 * Writes one record out of a JSON object. What is absent is an empty field;
 * a list of texts is joined with "; ".
 */
void csv_record(FILE *stream, const struct csv_column *columns, const json_t *object);

#endif
