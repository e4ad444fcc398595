/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "spectrum.h"

#include "fft.h"

#include <math.h>

enum { FEWEST_SAMPLES = 8 };

size_t spectrum_workspace(size_t count)
{
    return count + fft_workspace(count);
}

/* Amplitudes take the place of the transform, each written after what it is made from was read. */
static void to_amplitudes(const double complex *transform, size_t n, double gain, double *amplitude)
{
    for (size_t k = 0; k <= n / 2; k++) {
        double whole = k == 0 || 2 * k == n ? 1.0 : 2.0;
        amplitude[k] = whole * cabs(transform[k]) / ((double)n * gain);
    }
}

enum wave_reason spectrum_make(const struct series *series, enum window window,
                               double complex *workspace, struct spectrum *spectrum)
{
    double minimum, maximum;
    if (series->count < FEWEST_SAMPLES || !(series->interval > 0.0) ||
        !series_extremes(series, 0, series->count, &minimum, &maximum)) {
        return WAVE_BAD_SAMPLES;
    }
    size_t n = fft_length(series->count);
    double level = minimum + (maximum - minimum) / 2.0;
    double weighed = 0.0;
    for (size_t i = 0; i < n; i++) {
        double x = series->scale * (series_at(series, i) - level) * window_at(window, i, n);
        weighed += x;
        workspace[i] = x;
    }
    fft(workspace, n, workspace + n);
    /* The second part is free now. */
    double *amplitude = (double *)(workspace + n);
    to_amplitudes(workspace, n, window_gain(window), amplitude);
    amplitude[0] = series_value(series, level) + weighed / ((double)n * window_gain(window));
    struct spectrum made = { window, n, n / 2 + 1, 1.0 / ((double)n * series->interval),
                             amplitude };
    *spectrum = made;
    return WAVE_NONE;
}
