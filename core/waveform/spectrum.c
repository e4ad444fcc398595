/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "spectrum.h"

#include <math.h>

enum { FEWEST_SAMPLES = 8, RADICES = 3 };

static bool smooth(size_t n)
{
    static const size_t radices[RADICES] = { 2, 3, 5 };
    for (size_t i = 0; i < RADICES; i++)
        while (n % radices[i] == 0)
            n /= radices[i];
    return n == 1;
}

size_t spectrum_length(size_t count)
{
    while (count > 0 && !smooth(count))
        count--;
    return count;
}

/*
 * Amplitudes take the place of the transform, which holds the real part of bin 0 and then real and
 * imaginary part of each bin, but for n even no imaginary part of the last. Each is written in front
 * of what it is made from.
 */
static void to_amplitudes(double *transform, size_t n, double gain)
{
    for (size_t k = 1; 2 * k < n; k++)
        transform[k] = 2.0 * hypot(transform[2 * k - 1], transform[2 * k]) / ((double)n * gain);
    if (n % 2 == 0)
        transform[n / 2] = fabs(transform[n - 1]) / ((double)n * gain);
}

enum wave_reason spectrum_make(const struct series *series, enum window window,
                               const struct spectrum_room *room, struct spectrum *spectrum)
{
    double minimum, maximum;
    if (series->count < FEWEST_SAMPLES || !(series->interval > 0.0) ||
        !series_extremes(series, 0, series->count, &minimum, &maximum))
        return WAVE_BAD_SAMPLES;
    size_t n = spectrum_length(series->count);
    double level = minimum + (maximum - minimum) / 2.0;
    double gain = window_gain(window), weighed = 0.0;
    for (size_t i = 0; i < n; i++) {
        double x = series->scale * (series_at(series, i) - level) * window_at(window, i, n);
        weighed += x;
        room->samples[i] = x;
    }
    if (gsl_fft_real_transform(room->samples, 1, n, room->table, room->workspace) != 0)
        return WAVE_BAD_SAMPLES;
    to_amplitudes(room->samples, n, gain);
    room->samples[0] = series_value(series, level) + weighed / ((double)n * gain);
    struct spectrum made = { window, n, n / 2 + 1, 1.0 / ((double)n * series->interval),
                             room->samples };
    *spectrum = made;
    return WAVE_NONE;
}
