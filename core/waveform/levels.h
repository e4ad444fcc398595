/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The two states of a pulse waveform, by the histogram method of IEEE Std 181:
 * the record's amplitudes are sorted into bins, the histogram is split in the
 * middle between the extremes, and each state level is the mode of its half,
 * so that overshoot does not move it. Levels in stored units.
 */
#ifndef GRADUS_CORE_LEVELS_H
#define GRADUS_CORE_LEVELS_H

#include "core/samples/series.h"
#include "core/samples/wave_reason.h"

/* The states of a record. */
struct levels {
    double low;
    double high;
    size_t low_count; /* samples that each level is the mean of */
    size_t high_count;
};

/*
 * Finds the two states. 16 KiB of stack and what series_tally() takes; three passes.
 *
 * minimum, maximum  the record's extremes, finite
 * noise             standard deviation of one sample's noise, >= 0. The mode is
 *                   looked for in a window of that half width, and the level is the
 *                   mean of the samples in it; with 0, of those in the modal bin.
 *
 * For codes a bin is one code, or the least power of two of them that 4096
 * bins allow; for doubles a bin is one 4096th of the extremes' distance.
 *
 * Returns WAVE_NONE and fills `levels`, else why there are none, writing nothing:
 * FLAT where the extremes are equal, NOISY where the states would be less than
 * 10 sigma apart, FEW_SAMPLES where a state has fewer than three samples, and
 * NO_STATES where the levels are nearer than a third of the extremes' distance
 * or in either half more than a quarter of the samples are further from the level
 * than 20 % of the amplitude: of a sine 41 % are, of a triangle 60 %, of an RC-shaped square
 * 25 % at five and a half time constants a half period. (The quarter is our own
 * choice; IEC 60469 only says that continuously varying signals have no states.)
 */
enum wave_reason levels_find(const struct series *series, double minimum, double maximum,
                             double noise, struct levels *levels);

#endif
