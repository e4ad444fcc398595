/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What `gradusd --try` prints, and what it keeps for the summary. */
#ifndef GRADUS_DAEMON_TRY_REPORT_H
#define GRADUS_DAEMON_TRY_REPORT_H

#include "drivers/dialogue/dialogue.h"

#include <stdbool.h>
#include <stddef.h>

enum { REPORT_TITLE = 96, REPORT_OUTCOME = 160, REPORT_PROBLEM = 768, REPORT_EXCHANGE = 256 };

/* One thing that was tried. */
struct report_step {
    char title[REPORT_TITLE];
    char outcome[REPORT_OUTCOME]; /* empty: nothing to say */
    size_t exchanges;
    double slowest_ms;
    size_t problems;
};

struct report_problem {
    size_t step; /* index into steps */
    char text[REPORT_PROBLEM];
};

/* Start with {0}; free with report_free(). */
struct report {
    size_t exchanges;
    char last[REPORT_EXCHANGE]; /* the exchange that was printed last */
    size_t repeated;            /* times it came again since */
    size_t step_count;
    struct report_step *steps;
    size_t problem_count;
    struct report_problem *problems;
};

/* Frees what the report holds. */
void report_free(struct report *report);

/*
 * Begins a step; exchanges, outcome and problems go to it from here on.
 * False when memory is short.
 */
bool report_begin(struct report *report, const char *format, ...)
    __attribute__((format(printf, 2, 3)));

/* Says what the step came to. */
void report_outcome(struct report *report, const char *format, ...)
    __attribute__((format(printf, 2, 3)));

/* Notes a problem of the step that was begun last. */
void report_problem(struct report *report, const char *format, ...)
    __attribute__((format(printf, 2, 3)));

/* As report_problem(), with the text of a failure. */
void report_failure(struct report *report, const struct failure *failure);

/*
 * For dialogue_trace(): prints one exchange and counts it. `context` is the
 * report. An exchange that repeats itself, as the question whether a scope is
 * done does, is printed once, with how often it came.
 */
void report_trace(void *context, const char *command, const struct reply *reply, double ms,
                  const struct failure *failure);

/* Prints the table of steps, the problems, and "N exchanges, N problems". */
void report_summary(struct report *report);

#endif
