/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The course of a figure over any length of time in a bounded number of
 * places: when they are full, neighbours are joined to their mean, and from
 * then on twice as many go into each.
 */
#ifndef GRADUS_DAEMON_TRACK_H
#define GRADUS_DAEMON_TRACK_H

#include <stdbool.h>
#include <stddef.h>

/* Begin with track_begin(). Read count, times and values; times ascend. */
struct track {
    double *times;
    double *values;
    size_t count;
    size_t most;     /* places, even */
    size_t capacity; /* that there is memory for */
    size_t stride;   /* figures that go into a place */
    size_t gathered; /* figures that wait for the next place to be full */
    double time_sum;
    double value_sum;
    double last;    /* the latest figure; NAN: none yet */
    double quantum; /* the smallest change from one figure to the next; 0: none yet */
};

/* Nothing yet, and room for `most` places (an even number) when it is needed. */
struct track track_begin(size_t most);

/* Leaves an empty track. */
void track_end(struct track *track);

/* Takes a figure in; both finite, the time not before the one before. False: no memory. */
bool track_add(struct track *track, double time, double value);

#endif
