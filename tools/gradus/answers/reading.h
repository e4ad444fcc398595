/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * How a reading, or the reason why there is none, is shown: as a row of a
 * table, as a line, as a CSV record.
 */
#ifndef GRADUS_TOOLS_READING_H
#define GRADUS_TOOLS_READING_H

#include "command.h"
#include "csv.h"
#include "tools/gradus/screen/table.h"
#include "tools/gradus/wire/fault.h"

#include <jansson.h>
#include <stdbool.h>

enum { READING_TEXT = 128 };

/* Columns of the table of readings and of its CSV. */
extern const struct table_column reading_table_columns[];
extern const struct csv_column reading_csv_columns[];

/*
 * Whether the daemon's answer is a reading: point, finite value, unit and a
 * verdict that is one. False with the fault filled in: a number without a
 * unit is not shown.
 */
bool reading_check(const json_t *reading, struct fault *fault);

/* Adds a row for a reading that passed reading_check(). */
void reading_row(struct table *table, const json_t *reading, int digits);

/* Adds a row for a point without a reading. */
void reading_failure_row(struct table *table, const char *point, const struct fault *fault);

/* Writes the CSV record of a reading, or of a point without one. */
void reading_csv(const json_t *reading);
void reading_failure_csv(const char *point, const struct fault *fault);

/* The parts of a row as text; both "" where they are not known. */
char *reading_range_text(const json_t *range, const char *unit, char text[READING_TEXT]);
char *reading_limits_text(const json_t *limits, const char *unit, char text[READING_TEXT]);

/*
 * Writes a setting as a person would, what binary arithmetic left at the
 * eighth digit and beyond rounded away: 2.0000000000000004 V is "2 V".
 * "" for NAN.
 */
char *reading_setting(double value, const char *unit, char text[READING_TEXT]);

/*
 * The exit status that goes with a reading: that of its verdict, but with
 * limits and no verdict it is undecided.
 */
int reading_status(const json_t *reading);

/* Prints what was judged in place of the value: its difference to or ratio over a reference. */
void reading_comparison(const struct session *session, const char *point, const json_t *reading);

/* Prints "POINT: warning: TEXT" for each warning of the reading. */
void reading_warnings(const struct session *session, const char *point, const json_t *reading);

#endif
