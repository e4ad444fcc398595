/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The part of a plot that values are drawn in, with its grid and what that stands for. */
#ifndef GRADUS_TOOLS_REPORT_FRAME_H
#define GRADUS_TOOLS_REPORT_FRAME_H

#include "pen.h"
#include "report.h"

/* Where it is drawn, labels included. */
struct plot_box {
    double x;
    double y;
    double width;
    double height;
};

/* The width of a figure over its size. */
extern const double frame_digit;

/* The part of a box that values are drawn in, and what its edges stand for. */
struct frame {
    struct plot_box box;
    double from, to;
    double low, high;
};

/* A step of time that divides a span into at most `most` parts as people do: 1 s ... 28 d. */
double report_time_step(double span, int most);

/* Where a time, a value and the middle of a stretch lie; what is outside lies on the edge. */
double frame_x(const struct frame *frame, double time);
double frame_y(const struct frame *frame, double value);
double frame_middle(const struct frame *frame, const struct report_bucket *bucket);

/* The lower edge of its box. */
double frame_bottom(const struct frame *frame);

/* Widens it so that a value is in it; NAN and infinity change nothing. */
void frame_hold(struct frame *frame, double value);

/* The columns that the labels of the values take. */
size_t frame_widest_label(const struct frame *frame, const char *unit);

/* Draws the lines of the grid with what they stand for: values at the left, times below. */
void frame_values(const struct frame *frame, const struct pen *pen, const char *unit);
void frame_times(const struct frame *frame, const struct pen *pen);

#endif
