/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * How high a signal may reach above the crest that its folded record shows: by what is too narrow for the
 * crest's shape, and by what changes from period to period. Noise hides both, and so they are
 * bounded, not tested: what noise would let pass is in the bound.
 */
#ifndef GRADUS_CORE_CEILING_H
#define GRADUS_CORE_CEILING_H

#include "crest.h"
#include "series.h"

/*
 * Upper bound, at about two standard deviations, for what repeats, for sign -1 lower bound; in the
 * record's values. Of what lasts for a sample at least each period has one sample: the highest mean of
 * so many neighbours, or of fewer where they are steep, with what it is above those beside it.
 * INFINITY, times sign, where the fold's nodes are wider than a sample.
 *
 * frequency  periods per sample
 * noise      standard deviation of one sample, rounding included, > 0
 */
double ceiling_of_fold(const struct fold *fold, double sign, double frequency, double samples,
                       double noise);

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
