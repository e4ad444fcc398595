/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What a report says in words, the same in every form of it. Plain UTF-8, nothing escaped. */
#ifndef GRADUS_TOOLS_REPORT_WORDS_H
#define GRADUS_TOOLS_REPORT_WORDS_H

#include "report.h"

enum { WORDS_SIZE = 512 };

/* That this is no safety device. */
extern const char report_caution[];

/* "failed", "to look at", "no reading", "well". */
const char *report_class_name(enum report_class class);

/* "2026-01-31 23:59:59" UTC; "-" for NAN. Returns text. */
char *report_moment(double moment, char text[WORDS_SIZE]);

/* "3 d 04:05:06". Returns text. */
char *report_span(double seconds, char text[WORDS_SIZE]);

/* One sentence about the whole run. Returns text. */
char *report_outcome(const struct report *report, char text[WORDS_SIZE]);

/* What did not go as planned: gaps, late and missed rounds, clocks that were set; "" when nothing. */
char *report_disturbances(const struct report *report, char text[WORDS_SIZE]);

/* What a point did: drift with its limit, step, excursions, losses, its trip. Returns text. */
char *report_course(const struct report_point *point, char text[WORDS_SIZE]);

/* The figures of a point, by name, value and uncertainty rounded together. */
struct report_figure {
    const char *name;
    char text[128];
};
enum { REPORT_FIGURES = 9 };

/* Writes the figures; returns how many there are. */
size_t report_figures(const struct report_point *point,
                      struct report_figure figures[REPORT_FIGURES]);

/* The limits of the last phase, "4.75 V to 5.25 V"; "" without any. Returns text. */
char *report_limits(const struct report_point *point, char text[WORDS_SIZE]);

#endif
