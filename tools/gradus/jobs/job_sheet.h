/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A job as it is handed over: what is known of it, and its newest readings before and after. */
#ifndef GRADUS_TOOLS_JOB_SHEET_H
#define GRADUS_TOOLS_JOB_SHEET_H

#include "tools/gradus/wire/client.h"

#include <jansson.h>
#include <stddef.h>
#include <stdio.h>

/* One point of one unit; items of the answer of "readings", borrowed; NULL: there is none. */
struct job_line {
    const char *point;
    const char *serial; /* "": not said */
    const json_t *before;
    const json_t *after; /* or of no stage: how the unit is handed over */
};

struct job_sheet {
    json_t *items; /* every reading of the job, oldest first; owned */
    json_t *about; /* what was said of the job, the last word on each member; owned */
    json_t *shop;  /* name, address, logo; owned; NULL: not in the settings */
    struct job_line *lines;
    size_t line_count;
};

/* Asks for all that. False with the fault filled in; free with job_sheet_free() either way. */
bool job_sheet_fetch(struct client *client, const char *name, struct job_sheet *sheet,
                     struct fault *fault);

/* Frees what it holds. */
void job_sheet_free(struct job_sheet *sheet);

/* The worst of the newest readings after, as an exit status. */
int job_sheet_status(const struct job_sheet *sheet);

/* The reading of an item as text, "" without an item, or the reason why it has none. */
const char *job_value(const json_t *item, int digits, char *text, size_t size);

/* Its verdict; "no reading" where it has none, "" without an item. */
const char *job_verdict(const json_t *item);

/* Calls for each fact that is known of the job, in the order in which they are handed over. */
void job_facts(const struct job_sheet *sheet,
               void (*each)(void *context, const char *what, const char *text), void *context);

/* Calls for each instrument that a reading is from, again where something of it has changed. */
void job_instruments(const struct job_sheet *sheet,
                     void (*each)(void *context, const json_t *instrument), void *context);

/* The limits of a line as text, "" where there are none; READING_TEXT in size. */
const char *job_limits(const struct job_line *line, char *text);

/* What stands above the readings of a report. */
extern const char job_readings_note[];

/* A table for spreadsheets, a row for each line, before and after side by side. */
void job_csv(const struct job_sheet *sheet, FILE *out);

/* Pages of A4 to print and sign. False when it could not be written. */
bool job_pdf(const struct job_sheet *sheet, int digits, FILE *out);

/* One page of HTML to print and sign: nothing outside is needed, no script runs. */
void job_html(const struct job_sheet *sheet, int digits, FILE *out);

#endif
