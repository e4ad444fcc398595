/* SPDX-License-Identifier: GPL-3.0-or-later */
/* How much single values scatter, told from medians, which neither drift nor step nor outlier enlarges. */
#ifndef GRADUS_CORE_NOISE_H
#define GRADUS_CORE_NOISE_H

#include <stddef.h>

/*
 * Median of |x| by bisection on the value: no copy, no sorting, and it ends
 * because the interval halves. Good to 2^-52 of the largest. count > 0.
 */
double noise_median_magnitude(const double *x, size_t count);

/* Standard deviation of normal x about zero that has this median of |x|. */
double noise_of_magnitudes(const double *x, size_t count);

/*
 * Standard deviation of one value, from the differences of neighbours.
 *
 * count        2 or more
 * quantum      one step of the display, >= 0: less than its rounding is not believed
 * differences  room for count - 1
 */
double noise_of_values(const double *value, size_t count, double quantum, double *differences);

#endif
