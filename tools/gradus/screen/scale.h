/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Grid lines at 1, 2 or 5 times a power of ten. A line's value is formed from
 * its decimal digits, so that the third line of a 0.1 V grid is 0.3 V and not
 * 0.30000000000000004 V.
 */
#ifndef GRADUS_TOOLS_SCALE_H
#define GRADUS_TOOLS_SCALE_H

#include <stdbool.h>

/* Lines stand at k * mantissa * 10^exponent for every k from first to last. */
struct scale {
    long first;
    long last;
    int mantissa; /* 1, 2 or 5 */
    int exponent;
};

/*
 * The finest such grid with at most `intervals` intervals (>= 1) inside
 * low ... high, with first and last line at or just outside them (`outward`)
 * or at or just inside them. False when low < high does not hold, their
 * distance is not finite, or it is too small to be told apart beside them.
 */
bool scale_fit(double low, double high, int intervals, bool outward, struct scale *scale);

/* The value of line k. */
double scale_line(const struct scale *scale, long k);

#endif
