/* SPDX-License-Identifier: GPL-3.0-or-later */
/* How like a record is to itself one period later. */
#ifndef GRADUS_CORE_LIKENESS_H
#define GRADUS_CORE_LIKENESS_H

#include "core/samples/series.h"
#include "waveform.h"

/* In the record's values. */
struct likeness {
    double
        unlike; /* RMS of what is not the same again; 0: as good as nothing, or it cannot be told */
    double noise; /* standard deviation of one sample's, as what differs has it: what bends the
                      same way each time is not in it; INFINITY where it cannot be told */
};

/*
 * Compares places all along a record that has a period with those one period later. What a straight
 * line between two samples misses, what the period's own uncertainty makes of a slope, and noise, are
 * not counted. Nothing can be told where there is not a quarter of a period more than one.
 * Allocates nothing, 10 KiB of stack.
 *
 * noise  standard deviation of a sample's noise, rounding included, > 0: the most it is taken for
 * step   the converter's, >= 0
 */
struct likeness likeness_of(const struct series *series, const struct waveform *waveform,
                            double noise, double step);

#endif
