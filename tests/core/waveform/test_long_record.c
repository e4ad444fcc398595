/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * A record of a hundred million 16-bit codes, as the largest digitisers keep
 * it: a sine by direct digital synthesis, whose frequency is known to the last
 * digit, and whose mean and rms are those of its table.
 */
#include "core/waveform/waveform.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>

#include <cmocka.h>

enum { TABLE = 4096, AMPLITUDE = 20000, LEVEL = 1000, SAMPLES = 100000000 };

static const double scale = 1e-4, interval = 1e-9;

static int16_t table[TABLE];

/* Rounding to codes moves the rms of the sine a little; each code is visited equally often. */
static double table_rms(const int16_t *codes)
{
    double squares = 0;
    for (size_t i = 0; i < TABLE; i++)
        squares += (double)codes[i] * codes[i];
    return scale * sqrt(squares / TABLE);
}

static void fill(int16_t *codes, uint32_t step)
{
    uint32_t phase = 0;
    for (size_t i = 0; i < TABLE; i++)
        table[i] = (int16_t)lrint(LEVEL + AMPLITUDE * sin(2 * M_PI * ((double)i + 0.5) / TABLE));
    for (size_t i = 0; i < SAMPLES; i++, phase += step)
        codes[i] = table[phase / (UINT32_MAX / TABLE + 1)];
}

static void a_hundred_million_samples_keep_their_digits(void **state)
{
    (void)state;
    static const uint32_t step = 5857913; /* 733.19... samples a period */
    int16_t *codes = malloc(SAMPLES * sizeof *codes);
    struct waveform waveform;
    assert_non_null(codes);
    fill(codes, step);
    struct series series = series_of_codes(codes, SAMPLES, scale, 0, interval);
    assert_true(waveform_measure_series(&series, &waveform));
    double frequency = (double)step / 4294967296.0 / interval;
    print_message("%.12g Hz, %.12g expected, standard uncertainty %.2g\n", waveform.frequency,
                  frequency, waveform.frequency_uncertainty);
    assert_true(fabs(waveform.frequency - frequency) < 4 * waveform.frequency_uncertainty);
    assert_true(waveform.frequency_uncertainty < 3e-9 * frequency);
    assert_true(fabs(waveform.mean - LEVEL * scale) < 1e-9);
    assert_true(fabs(waveform.rms - table_rms(table)) < 1e-9);
    assert_true(fabs(waveform.peak_to_peak - 2 * AMPLITUDE * scale) <= 2 * scale);
    assert_true(waveform.periods > 136000);
    free(codes);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_hundred_million_samples_keep_their_digits),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
