/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What a report says in words, the same in every form of it. Plain UTF-8, nothing escaped. */
#ifndef GRADUS_TOOLS_REPORT_WORDS_H
#define GRADUS_TOOLS_REPORT_WORDS_H

#include "report.h"

enum { WORDS_SIZE = 1024 };

/* That this is no safety device. */
extern const char report_caution[];

/* What margins and uncertainties mean. */
extern const char report_margin_note[];
extern const char report_uncertainty_note[];

/* What is what in a control chart. */
extern const char report_chart_note[];

/* Most failures that are told in brief. */
enum { REPORT_BRIEF_MOST = 40 };

/* "failed", "to look at", "not measured", "within limits". */
const char *report_class_name(enum report_class class);

/* "2026-01-31 23:59:59" UTC; "-" for NAN. Returns text. */
char *report_moment(double moment, char text[WORDS_SIZE]);

/* "3 d 04:05:06". Returns text. */
char *report_span(double seconds, char text[WORDS_SIZE]);

/* "once", "3 times". Returns text. */
char *report_times(double count, char text[WORDS_SIZE]);

/* Puts a printf sentence behind what is there, a space between; too long a one is left out whole. */
void report_say(char text[WORDS_SIZE], const char *format, ...)
    __attribute__((format(printf, 2, 3)));

/* One sentence about the whole run, and how it ended. Returns text. */
char *report_outcome(const struct report *report, char text[WORDS_SIZE]);

/* Its phases and its warm-up with their ends. Returns text. */
char *report_phases(const struct report *report, char text[WORDS_SIZE]);

/* "unit 12, dc voltage". Returns text. */
char *report_subject(const struct report_point *point, char text[WORDS_SIZE]);

/* "unit 12, u12_p3", or the point alone. Returns text. */
char *report_title(const struct report_point *point, char text[WORDS_SIZE]);

/* Why a point failed, in a sentence or two; "" when it did not. Returns text. */
char *report_brief(const struct report_point *point, char text[WORDS_SIZE]);

/* What a point did: failures, drift with its limit, step, excursions, losses, its trip. Returns text. */
char *report_course(const struct report_point *point, char text[WORDS_SIZE]);

/* The figures of a point, by name, value and uncertainty rounded together. */
struct report_figure {
    const char *name;
    char text[160];
};
enum { REPORT_FIGURES = 9 };

/* Writes the figures; returns how many there are. */
size_t report_figures(const struct report_point *point,
                      struct report_figure figures[REPORT_FIGURES]);

/* The text of the figure of a name; "" when there is none. */
const char *report_figure(const struct report_figure *figures, size_t count, const char *name);

/* A result without its uncertainty, for where that stands beside it. Returns text. */
char *report_short(const char *result, char text[WORDS_SIZE]);

#endif
