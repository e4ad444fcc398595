/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * How high a signal may reach above the crest that its folded record shows: by what is too narrow for the
 * crest's shape, and by what changes from period to period. Noise hides both, and so they are
 * bounded, not tested: what noise would let pass is in the bound.
 */
#ifndef GRADUS_CORE_CEILING_H
#define GRADUS_CORE_CEILING_H

#include "core/samples/series.h"
#include "crest.h"

/*
 * Upper bound for what repeats, of a crest whose sign is -1 lower bound; in the record's values. What
 * lasts for a sample has one sample each period, so that no mean of so many neighbours is
 * higher by more than noise; beside a steep edge, where signals overshoot, it may last for half a sample. Where
 * the crest's shape holds the mean is lower than the top by what the shape says; what is steep
 * besides, by as much as its neighbours are lower still. INFINITY, times sign, where the fold's nodes
 * are wider than a sample. Allocates nothing, 20 KiB of stack.
 *
 * frequency  periods per sample
 * samples    in the record
 * noise      standard deviation of one sample, rounding included, > 0
 */
double ceiling_of_fold(const struct fold *fold, const struct crest *crest, double frequency,
                       double samples, double noise);

/* How the level at a crest changes from period to period. */
struct wander {
    double most;  /* the highest period may be so much above the crest, >= 0, record's values */
    bool certain; /* more than noise explains */
};

/*
 * Compares the periods, at the crest's stretch: the scatter of their means has a chi-square's law if
 * nothing but noise is in it. One pass; allocates nothing, 8 KiB of stack.
 */
struct wander wander_of(const struct series *series, double frequency, double noise,
                        const struct crest *crest);

#endif
