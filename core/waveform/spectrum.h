/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Amplitude spectra of records. */
#ifndef GRADUS_CORE_SPECTRUM_H
#define GRADUS_CORE_SPECTRUM_H

#include "core/samples/series.h"
#include "core/samples/wave_reason.h"
#include "window.h"

#include <gsl/gsl_fft_real.h>

/* A spectrum. `amplitude` lies in the caller's room. */
struct spectrum {
    enum window window;
    size_t used;             /* samples it was made from: the largest product of 2, 3, 5 */
    size_t bins;             /* used / 2 + 1 */
    double spacing;          /* hertz from bin to bin */
    const double *amplitude; /* of a sine in the bin, window's gain corrected; bin 0: the mean */
};

/* Where a spectrum is made; the caller's. All for one length, spectrum_length(). */
struct spectrum_room {
    double *samples; /* so many of them; lives as long as the spectrum is used */
    const gsl_fft_real_wavetable *table;
    gsl_fft_real_workspace *workspace;
};

/*
 * How many of `count` samples a spectrum is made from: the largest product of
 * 2, 3 and 5 that is not above it, for which the transform is fast; 0 for 0.
 */
size_t spectrum_length(size_t count);

/*
 * Makes the spectrum. A sine between two bins shows too small, by up to the
 * scalloping of its window. The level midway between the extremes is taken out first and put back
 * into bin 0, so that a large offset does not leak into the rest.
 *
 * Returns WAVE_NONE, or BAD_SAMPLES for fewer than 8 or not finite ones, writing nothing.
 */
enum wave_reason spectrum_make(const struct series *series, enum window window,
                               const struct spectrum_room *room, struct spectrum *spectrum);

#endif
