/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * A course of any length in a bounded number of places: each is the mean of
 * as many values in a row as any other, but for the last. Noise that differs
 * from value to value shrinks with the number of values in a place, and what
 * is slower than a place stays, which is all that the models of a course
 * (shapes.h) are of.
 */
#ifndef GRADUS_CORE_PLACES_H
#define GRADUS_CORE_PLACES_H

#include <stdbool.h>
#include <stddef.h>

enum { PLACES = 96 };

struct places {
    size_t count;
    double start;          /* time of the first value */
    double span;           /* from the first value to the last, > 0 */
    double level;          /* mean of all places, unit of the values */
    double unit;           /* standard deviation of the places, > 0 */
    double time[PLACES];   /* 0 at `start`, 1 at its end */
    double value[PLACES];  /* from `level`, in `unit` */
    double weight[PLACES]; /* values in the place, over those in a full one */
    size_t first[PLACES];  /* index of its first value */
    size_t size;           /* values in a full place */
};

/*
 * Gathers `count` values into places. time ascending, all finite. False,
 * writing nothing that counts, with fewer than 8 values, all at one time, or
 * all alike: there is nothing to compare then.
 */
bool places_gather(const double *time, const double *value, size_t count, struct places *places);

/* The time of a place's clock that a time of the values is. */
double places_clock(const struct places *places, double time);

#endif
