/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Room for a spectrum, made and given back around one transform. */
#ifndef GRADUS_TESTS_SPECTRUM_ROOM_H
#define GRADUS_TESTS_SPECTRUM_ROOM_H

#include "core/waveform/spectrum.h"

/* As spectrum_make(), in `samples`, which has room for spectrum_length() of them. */
static inline enum wave_reason spectrum_in(const struct series *series, enum window window,
                                           double *samples, struct spectrum *spectrum)
{
    size_t length = spectrum_length(series->count);
    gsl_fft_real_wavetable *table = gsl_fft_real_wavetable_alloc(length);
    gsl_fft_real_workspace *workspace = gsl_fft_real_workspace_alloc(length);
    const struct spectrum_room room = { samples, table, workspace };
    enum wave_reason reason = spectrum_make(series, window, &room, spectrum);
    gsl_fft_real_workspace_free(workspace);
    gsl_fft_real_wavetable_free(table);
    return reason;
}

#endif
