/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * A straight line through what has been measured so far, kept as running
 * sums, so that a run of any length costs the same: least squares with
 * independent errors of equal size (NIST/SEMATECH e-Handbook, 4.1.4.1).
 */
#ifndef GRADUS_CORE_TREND_H
#define GRADUS_CORE_TREND_H

#include <stdbool.h>

/* Running sums about the means; begin with all zero. Plain data: may be stored and read back. */
struct trend {
    double count;
    double time_mean;
    double value_mean;
    double time_squares; /* sum of (t - mean)^2 */
    double products;     /* sum of (t - mean)(y - mean) */
    double left;         /* sum of squares about the line */
};

/* The fitted line: value = level + slope (t - centre). */
struct trend_line {
    double centre;         /* mean time: level and slope are uncorrelated there */
    double level;          /* at the centre, unit of the values */
    double level_standard; /* standard uncertainty of level */
    double slope;          /* unit of the values per unit of time */
    double slope_standard; /* standard uncertainty of slope */
    double residual;       /* standard deviation about the line */
    double freedom;        /* count - 2 */
};

/* Takes in one value. Both must be finite: false, changing nothing, when one is not. */
bool trend_add(struct trend *trend, double time, double value);

/* Fits; false, writing nothing, with fewer than three values or all at one time. */
bool trend_fit(const struct trend *trend, struct trend_line *line);

#endif
