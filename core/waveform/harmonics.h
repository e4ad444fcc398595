/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Total harmonic distortion after IEC 61000-4-7 (3.3.1, 3.2.2: RMS of the harmonics up to order 40 over
 * the fundamental's), with the floor that noise and converter leave. All harmonics are fitted together by
 * least squares, so that none leaks into another where the record is no whole number of periods.
 */
#ifndef GRADUS_CORE_HARMONICS_H
#define GRADUS_CORE_HARMONICS_H

#include "core/samples/series.h"
#include "core/samples/wave_reason.h"

enum { HARMONICS_MOST = 40 };

struct harmonics {
    double fundamental; /* amplitude, the record's values */
    size_t orders;      /* the highest below half the sample rate, no more than 40 */
    double thd;         /* ratio, the middle of what noise and converter leave it */
    double standard;    /* its standard uncertainty; 0 where it may be nothing but floor, */
    double doubt;       /* which then reaches so far to either side; else 0 */
};

/*
 * Measures them in the first 2^17 samples at most. With amplitudes' variance s^2 each, the power of h
 * harmonics shows 2 h s^2 too much, and has a variance of 4 P s^2 + 4 h s^4 (own derivation, of the
 * noncentral chi-square's law, which has a longer tail than the normal one: the interval reaches 2.2 standard deviations
 * to either side).
 *
 * frequency  hertz, near the fundamental's
 * step       the converter's, the record's values. Where what the fit leaves is little more than that
 *            makes, roundings repeat from period to period: they count as averaged over one period
 *            and its different codes only, and are not subtracted
 *
 * Returns WAVE_NONE, else writes nothing: FEW_PERIODS (fewer than two), FEW_SAMPLES (fewer than 8 a
 * period), NO_FIT (no sine for a fundamental), NOISY (more noise than fundamental).
 */
enum wave_reason harmonics_measure(const struct series *series, double frequency, double step,
                                   struct harmonics *harmonics);

#endif
