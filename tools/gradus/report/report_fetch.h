/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Asking the daemon for all that a report is made of. */
#ifndef GRADUS_TOOLS_REPORT_FETCH_H
#define GRADUS_TOOLS_REPORT_FETCH_H

#include "report.h"
#include "tools/gradus/wire/client.h"

/* What to do with each study before the report takes it over; it is whole then. */
typedef void report_look(void *context, const json_t *study);

/*
 * Asks for the events of a run, by its name or its plan's, and begins the
 * report. False with the fault filled in. End it with report_end() either way.
 */
bool report_fetch_run(struct report *report, const char *name, int digits, struct client *client,
                      struct fault *fault);

/*
 * Asks for the studies of all its points, one after the other, so that the
 * daemon has other work done in between, and sorts the report. `look` may be
 * NULL. False with the fault filled in.
 */
bool report_fetch_points(struct report *report, struct client *client,
                         const struct terminal *terminal, report_look *look, void *context,
                         struct fault *fault);

#endif
