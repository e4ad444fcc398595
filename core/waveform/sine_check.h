/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Whether a record shows a sine in white noise and nothing else, so that what is known of sines
 * may be used to correct its figures: the four-parameter fit is made, and what it leaves over must
 * look like noise.
 */
#ifndef GRADUS_CORE_SINE_CHECK_H
#define GRADUS_CORE_SINE_CHECK_H

#include "core/samples/series.h"

#include <stdbool.h>

/* The sine, in the record's values. */
struct sine_figures {
    double amplitude;
    double offset;
    double crest;     /* largest value, with what harmonics the record shows */
    double trough;    /* smallest */
    double harmonics; /* how many these are of, the first one included, and how many odd ones */
    double odd;
    double noise;     /* standard deviation of one sample about the sine, without rounding */
    double samples;   /* independent ones that amplitude and offset come from */
    double roundings; /* the same for what the converter's rounding does, >= 1 */
};

/*
 * True, filling `figures`, where all of this holds of what the fit leaves over:
 * - no harmonic from the second to the seventh sticks out together with the others (15 times the
 *   mean that noise would give one; noise alone does so in 3 records of 1000),
 * - neighbours are as good as uncorrelated (4 standard deviations),
 * - no sample lies further out than noise throws the worst one in 1 record of 10,000.
 * What noise can hide is a harmonic of up to about 7 noise / sqrt(samples), so that crest and
 * trough take in what the record shows of each, be it noise or not. Harmonics above
 * half the sample rate count where they appear at a frequency of their own. False also with fewer than 64 samples, with an amplitude below four steps, or where the fit does not
 * converge.
 *
 * A converter's rounding may repeat with the phase: it counts as white, but as averaged over the
 * samples of one period only, less the three that a fit takes up.
 *
 * frequency  hertz, near the sine's
 * step       the converter's, in the record's values; 0: not known
 */
bool sine_check(const struct series *series, double frequency, double step,
                struct sine_figures *figures);

#endif
