/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Excursions: a course leaves its level at once and comes back at once, after
 * one value or after hundreds, as a joint does that comes loose. It has left where a value stands
 * out from the median of those before it, after Hampel's identifier (Journal
 * of the American Statistical Association 69 (1974) 383; from memory), here
 * with the spread that such distances have anyhow on this course. What goes or comes back little by
 * little is none: settling, a cycle, a walk. Neither is what does not come back: that
 * is a step, or at the end of a run nothing that can be told yet.
 */
#ifndef GRADUS_CORE_EXCURSIONS_H
#define GRADUS_CORE_EXCURSIONS_H

#include <stddef.h>

/* So many values an excursion may have; one that lasts longer is two steps. */
enum { EXCURSION_LONGEST = 1000 };

struct excursions {
    size_t count;   /* events, each a stretch of values that left and came back */
    size_t first;   /* index of the first value of the first one */
    size_t last;    /* of the last value of the last one */
    size_t longest; /* values of the one that lasted longest */
    double largest; /* from the level it left, of the farthest value */
};

/*
 * Finds excursions and copies what belongs to none.
 *
 * time, value  `count` of them, all finite; count >= 12
 * noise        of one value, > 0 or all values alike
 * scratch      room for 2 * count doubles; afterwards the times that were kept are in the first
 *              half of it and their values in the second
 * Returns how many were kept.
 */
size_t excursions_set_aside(const double *time, const double *value, size_t count, double noise,
                            double *scratch, struct excursions *excursions);

#endif
