/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The forms of a report. Each writes to a stream that the caller opened and checks. */
#ifndef GRADUS_TOOLS_REPORT_FORM_H
#define GRADUS_TOOLS_REPORT_FORM_H

#include "report.h"
#include "tools/gradus/wire/client.h"

#include <stdio.h>

/* One page of HTML: nothing outside is needed, no script runs. */
void report_html(const struct report *report, FILE *out);

/* A PDF of A4 pages. False when it could not be made. */
bool report_pdf(const struct report *report, FILE *out);

/* Every reading of the run, RFC 4180, asked for page by page. False with the fault filled in. */
bool report_csv(const char *run, struct client *client, FILE *out, struct fault *fault);

/*
 * One JSON object (RFC 8259): the run, its events, the study of each point with its history,
 * and behind them, when all is known, the summary. Points are written as they come.
 */
void report_json_begin(const struct report *report, FILE *out);
void report_json_point(const json_t *study, bool first, FILE *out);
void report_json_end(const struct report *report, FILE *out);

/* Makes the texts of an object, and of what is in it, such that no spreadsheet runs them. */
void report_csv_disarm(json_t *object);

#endif
