/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Harmonics, noise and what they make of a sine, from an amplitude spectrum.
 * The power of a component is that of all bins its main lobe reaches to,
 * over the window's noise bandwidth, so that nothing depends on where between
 * two bins it lies.
 */
#ifndef GRADUS_CORE_DISTORTION_H
#define GRADUS_CORE_DISTORTION_H

#include "spectrum.h"

enum { DISTORTION_HARMONICS = 20 };

/* What a spectrum says of a sine. Ratios in plain numbers, not dB. */
struct distortion {
    double frequency;                      /* hertz, by interpolation between bins */
    double amplitude;                      /* of the fundamental */
    size_t harmonics;                      /* highest order below half the sampling rate, <= 20 */
    double harmonic[DISTORTION_HARMONICS]; /* amplitudes, [n - 1] is order n; 0 where none is */
    double thd_f;                          /* all harmonics (RMS) over the fundamental */
    double thd_r; /* the same over fundamental and harmonics; never above one */
    double snr;   /* fundamental over all that is neither it, a harmonic nor the mean, RMS */
    double sinad; /* fundamental over all but the mean, RMS */
    double sfdr;  /* fundamental over the largest other component, harmonics included */
};

/*
 * Finds the largest component and its harmonics. Those above half the
 * sampling rate are folded and counted as noise. A harmonic as small as
 * the noise in its bins is counted as they are, so thd is an upper bound near the noise.
 * Side lobes count as noise: with the Blackman-Harris window snr and sinad are lower
 * bounds from about 80 dB on.
 *
 * Returns WAVE_NONE, or, writing nothing: FLAT (nothing there), FEW_PERIODS (the fundamental's
 * lobe touches that of the mean), FEW_SAMPLES (it touches half the sampling
 * rate), NOISY (its power is less than that of the rest).
 *
 * spectrum  with a window other than the rectangular, unless whole periods were recorded
 */
enum wave_reason distortion_measure(const struct spectrum *spectrum, struct distortion *distortion);

#endif
