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
 * How far what moves lies from the mean of all readings, at most: on a straight
 * line through them over their times, where it stands out of their scatter, and
 * where neighbours are closer to each other than noise has them. 0 where neither is
 * so, and for fewer than five, of which both say nothing: the scatter of so few has
 * room for it. Unit of the readings; times in seconds, ascending, from anywhere.
 */
double movement_of_many(const double *readings, const double *times, size_t count);

#endif
