/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Amplitude spectra of records. */
#ifndef GRADUS_CORE_SPECTRUM_H
#define GRADUS_CORE_SPECTRUM_H

#include "series.h"
#include "wave_reason.h"
#include "window.h"

#include <complex.h>

/* A spectrum. `amplitude` lies in the caller's workspace. */
struct spectrum {
    enum window window;
    size_t used;             /* samples it was made from: the largest product of 2, 3, 5 */
    size_t bins;             /* used / 2 + 1 */
    double spacing;          /* hertz from bin to bin */
    const double *amplitude; /* of a sine in the bin, window's gain corrected; bin 0: the mean */
};

/* Complex numbers of workspace for a record of `count` samples: 3 count. */
size_t spectrum_workspace(size_t count);

/*
 * Makes the spectrum. A sine between two bins shows up to window_scalloping() too
 * small. The level midway between the extremes is taken out first and put back
 * into bin 0, so that a large offset does not leak into the rest.
 *
 * workspace  spectrum_workspace(count) of them; lives as long as the spectrum is used
 *
 * Returns WAVE_NONE, or BAD_SAMPLES for fewer than 8 or not finite ones, writing nothing.
 */
enum wave_reason spectrum_make(const struct series *series, enum window window,
                               double complex *workspace, struct spectrum *spectrum);

#endif
