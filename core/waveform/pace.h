/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The frequency of a periodic record from all of its slopes: each sample on one says when it was taken.
 *
 * The record is folded over its period; a frequency that is off by d moves what is seen at a place of
 * slope s by s d t, t the time from the mean of the times at which the place was passed. Least squares
 * of all samples find d, whatever the shape is; steep edges with no sample on their way say nothing.
 */
#ifndef GRADUS_CORE_PACE_H
#define GRADUS_CORE_PACE_H

#include "core/samples/series.h"

#include <stdbool.h>

/* Periods per sample. */
struct pace {
    double frequency;
    double standard; /* its standard uncertainty, > 0 */
    double
        together; /* by how much neighbours that are off together widen it, where it is they that do; else 1 */
    double
        noise; /* standard deviation of what samples on slopes are off the fold, stored units, rounding included */
};

/*
 * Finds it. False with fewer than two periods or 64 samples, where no slope stands out of the noise, or
 * where the search does not come to rest.
 *
 * With white noise sigma the standard uncertainty is sigma / sqrt(sum of (s t)^2): Cramer and Rao's bound
 * for a shape that is not known (own derivation; for a sine over many periods it is Rife and Boorstyn's). Where
 * neighbouring samples are off together (coloured noise, edges that jitter) it is that of sums over
 * batches of the record, by Student's law (batch means; common practice, no source).
 * Roundings that repeat from period to period are counted as averaged over one of them.
 *
 * noise  standard deviation of one sample, stored units, >= 0: at least that is taken
 * start  periods per sample, off by less than a sixteenth of a period over the record
 *
 * Up to ten passes over the record; allocates nothing, 200 KiB of stack.
 */
bool pace_find(const struct series *series, double noise, double start, struct pace *pace);

#endif
