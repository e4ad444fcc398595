/* SPDX-License-Identifier: GPL-3.0-or-later */
/* How far a signal moved while a meter looked at it, as its readings in a row show it. */
#ifndef GRADUS_DAEMON_MOVEMENT_H
#define GRADUS_DAEMON_MOVEMENT_H

#include <stddef.h>

/*
 * From one reading to the next: their difference, or 0 where two roundings to
 * the resolution explain it. Unit of the readings.
 */
double movement_of_two(double first, double second, double resolution);

/*
 * How far the ends of a steady course lie from its mean: half the way that a
 * straight line through the readings goes from the first to the last, where it
 * stands out of their scatter. 0 where it does not, and for fewer than five,
 * of which a line through chance says nothing. Unit of the readings.
 */
double movement_of_many(const double *readings, size_t count);

#endif
