/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The course of a point over a run: smallest, largest and mean value of each
 * stretch; limits with their guard bands, warm-up, phases, failures and
 * losses; gaps stay gaps.
 */
#ifndef GRADUS_TOOLS_REPORT_PLOT_H
#define GRADUS_TOOLS_REPORT_PLOT_H

#include "report_frame.h"

/* Whether there is anything to draw. */
bool report_plot_has(const struct report_point *point);

/* A large one, with axes and the limits in it. */
void report_plot(const struct report *report, const struct report_point *point,
                 const struct pen *pen, struct plot_box box);

/* The control chart of a check standard, which it must have: readings and their weighted average. */
void report_plot_chart(const struct report *report, const struct report_point *point,
                       const struct pen *pen, struct plot_box box);

/* One the size of a word, without axes, between the limits; scaled to the values where it has none. */
void report_plot_small(const struct report *report, const struct report_point *point,
                       const struct pen *pen, struct plot_box box);

/* The mark of a failure. */
void report_plot_cross(const struct pen *pen, double x, double y);

/* What is what in a large one; returns the height that it took of a box as high as it likes. */
double report_plot_key(const struct pen *pen, struct plot_box box);

#endif
