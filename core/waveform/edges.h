/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * All transitions of a record between two states, in the terms of IEEE Std 181, and what the record
 * leaves open about each of their instants. Where edges are finely sampled the record is looked at in
 * means of blocks of samples, so that noise neither moves an instant nor makes one.
 */
#ifndef GRADUS_CORE_EDGES_H
#define GRADUS_CORE_EDGES_H

#include "levels.h"
#include "state_level.h"

#include <stdbool.h>

/* Where on its way from low to high a transition is looked at: 10, 50 and 90 %. */
enum reference_level { REFERENCE_10, REFERENCE_50, REFERENCE_90, REFERENCE_COUNT };

/* All transitions of one direction. Samples and stored units; means over all where not said otherwise. */
struct edge_side {
    size_t count;
    size_t fewest_inside; /* blocks between the 10 and the 90 % instant, the least of all */
    double duration;      /* 10 to 90 % */
    double slope[REFERENCE_COUNT]; /* how steep, stored units a sample, > 0 */
    double share; /* variance of one instant in that of a block's value over the slope there */
    double bent[REFERENCE_COUNT]; /* mean square of the third difference around each instant */
    double first;                 /* 50 % instant of the first one, samples */
    double numbers, squares,
        products;            /* sums over n, n^2 and n t: the 50 % instants t by the turn n */
    double instants;         /* sum over t */
    double earliest, latest; /* between which it must lie by all of them together, periods apart */
    double peak; /* how far the state behind goes beyond its level, away from the other, >= 0 */
    double gap;  /* bound on what of that falls between samples */
    struct state_part early,
        late;      /* of the states behind, samples within the reach of their level */
    size_t states; /* how many states behind were seen to their end */
    double state;  /* how long they last, 50 % instants */
};

struct edges {
    double block; /* so many samples are a block */
    struct edge_side rise;
    struct edge_side fall;
    size_t looked; /* blocks in the longest state that a peak was looked for in */
};

/*
 * Finds them. Between blocks an instant is where a parabola has it, so that what is left is by how much
 * the bend changes there; where edges are fine enough the parabola is a fit to a fifth of the edge. One pass to find the blocks and two with them.
 *
 * levels  of the record, high > low
 * noise   standard deviation of one sample's, without what the converter's step hides; stored units
 * period  samples; NAN where there is none: then `earliest` and `latest` say nothing
 */
void edges_find(const struct series *series, const struct levels *levels, double period,
                double noise, struct edges *edges);

#endif
