/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Transform, windows, spectrum and distortion. */
#include "core/waveform/distortion.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <stdlib.h>

#include "tests/core/noise.h"
#include "tests/near.h"
#include "tests/spectrum_room.h"

enum { SEED = 20240613, SAMPLES = 6000 };

static const double two_pi = 6.2831853071795865;

static double trace[SAMPLES];

static void lengths_are_products_of_two_three_five(void **state)
{
    (void)state;
    static const size_t rows[][2] = { { 0, 0 },   { 1, 1 },   { 7, 6 },       { 11, 10 },
                                      { 31, 30 }, { 97, 96 }, { 1023, 1000 }, { 1024, 1024 } };
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++)
        assert_int_equal(spectrum_length(rows[i][0]), rows[i][1]);
}

/* What is left of a sine halfway between two bins: the sum that defines it (Harris, as below). */
static double scalloping(enum window window)
{
    static const size_t n = 10000;
    double all = 0, re = 0, im = 0;
    for (size_t k = 0; k < n; k++) {
        double weight = window_at(window, k, n), turn = two_pi / 2 * (double)k / (double)n;
        all += weight;
        re += weight * cos(turn);
        im -= weight * sin(turn);
    }
    return hypot(re, im) / all;
}

/*
 * Gain, noise bandwidth, scalloping in dB: Harris, Proc. IEEE 66 (1978) 51, table 1, which
 * prints 1.78 for Hamming (0.54 and 0.46 give 1.75). Flat top, own derivation from its
 * coefficients: a0, (a0^2 + sum of ak^2 / 2) / a0^2; tests/reference has the window from scipy.
 */
static void windows_have_their_figures(void **state)
{
    (void)state;
    static const double rows[][3] = { { 1.0, 1.0, 3.92 },
                                      { 0.5, 1.5, 1.42 },
                                      { 0.54, 1.36, 1.75 },
                                      { 0.36, 2.0, 0.83 },
                                      { 0.2156, 3.7702, 0.01 } };
    for (size_t i = 0; i < WINDOW_COUNT; i++) {
        enum window window = (enum window)i;
        assert_within(window_gain(window), rows[i][0], 0.005);
        assert_within(window_noise_bandwidth(window), rows[i][1], 0.006);
        assert_within(-20.0 * log10(scalloping(window)), rows[i][2], 0.006);
        double sum = 0.0, square = 0.0;
        for (size_t k = 0; k < 1000; k++) {
            double weight = window_at(window, k, 1000);
            sum += weight;
            square += weight * weight;
        }
        assert_near(sum / 1000.0, window_gain(window), 1e-12);
        assert_near(1000.0 * square / (sum * sum), window_noise_bandwidth(window), 1e-12);
    }
}

static double spectral[SAMPLES];

static void make(const struct series *series, enum window window, struct spectrum *spectrum)
{
    assert_int_equal(spectrum_in(series, window, spectral, spectrum), WAVE_NONE);
}

/*
 * By the definition, |sum of x[i] exp(-2 pi j i k / n)| 2 / n, of the highest, least and odd lengths:
 * own derivation. Record of noise about its middle.
 */
static void amplitudes_are_those_of_the_definition(void **state)
{
    (void)state;
    srandom(SEED);
    for (size_t n = 8; n <= 1200; n = n < 100 ? n + 1 : n + 87) {
        for (size_t i = 0; i < n; i++)
            trace[i] = i < 2 ? 2.0 * (double)i - 1.0 : 2.0 * uniform() - 1.0;
        struct series series = series_of_reals(trace, n, 1.0);
        struct spectrum spectrum;
        make(&series, WINDOW_RECTANGULAR, &spectrum);
        for (size_t k = 0; k < spectrum.bins; k++) {
            double real = 0.0, imaginary = 0.0;
            for (size_t i = 0; i < spectrum.used; i++) {
                double angle = two_pi * (double)(i * k % spectrum.used) / (double)spectrum.used;
                real += trace[i] * cos(angle);
                imaginary += trace[i] * sin(angle);
            }
            double size = k == 0 ? real : hypot(real, imaginary);
            double twice = k == 0 || 2 * k == spectrum.used ? 1.0 : 2.0;
            assert_within(spectrum.amplitude[k], twice * size / (double)spectrum.used, 1e-13);
        }
    }
}

/* A sine in a bin shows its amplitude, between two bins what scalloping leaves of it. */
static void amplitudes_are_corrected_for_the_window(void **state)
{
    (void)state;
    for (size_t i = 0; i < WINDOW_COUNT; i++) {
        for (int half = 0; half < 2; half++) {
            for (size_t k = 0; k < SAMPLES; k++)
                trace[k] = 1e3 + 2.0 * sin(two_pi * (500.0 + half / 2.0) * (double)k / SAMPLES);
            struct series series = series_of_reals(trace, SAMPLES, 1e-3);
            struct spectrum spectrum;
            make(&series, (enum window)i, &spectrum);
            assert_int_equal(spectrum.used, SAMPLES);
            assert_near(spectrum.spacing, 1.0 / 6.0, 1e-12);
            double left = half ? scalloping((enum window)i) : 1.0;
            assert_near(spectrum.amplitude[500], 2.0 * left, 2e-3);
            assert_near(spectrum.amplitude[0], 1e3, 1e-5);
        }
    }
}

/* Harmonics, offset and noise of known size, at frequencies between bins. */
static void distortion_is_what_was_put_in(void **state)
{
    (void)state;
    print_message("seed %d\n", SEED);
    srandom(SEED);
    for (int round = 0; round < 100; round++) {
        double f = (60.0 + 400.0 * uniform()) / SAMPLES, second = 0.1 * uniform();
        double third = 0.05 * uniform(), sigma = 1e-3 * uniform() + 3e-4, scale = exp(uniform());
        for (size_t i = 0; i < SAMPLES; i++) {
            double x = two_pi * f * (double)i, noise = -6.0;
            for (int j = 0; j < 12; j++)
                noise += uniform();
            trace[i] = scale * (5.0 + sin(x) + second * sin(2.0 * x + 1.0) + third * cos(3.0 * x) +
                                sigma * noise);
        }
        struct series series = series_of_reals(trace, SAMPLES, 1.0);
        struct spectrum spectrum;
        struct distortion seen;
        make(&series, WINDOW_BLACKMAN_HARRIS, &spectrum);
        assert_int_equal(distortion_measure(&spectrum, &seen), WAVE_NONE);
        double all = hypot(second, third);
        assert_near(seen.frequency, f, 1e-4);
        assert_near(seen.amplitude, scale, 1e-3);
        assert_within(seen.harmonic[1], scale * second, 4e-4 * scale);
        assert_within(seen.harmonic[2], scale * third, 4e-4 * scale);
        assert_within(seen.thd_f, all, 1e-3);
        assert_within(seen.thd_r, all / sqrt(1.0 + all * all), 1e-3);
        assert_near(seen.snr, sqrt(0.5) / sigma, 0.1);
        assert_near(seen.sinad, 1.0 / sqrt(all * all + 2.0 * sigma * sigma), 0.05);
    }
}

static void reasons_come_instead_of_figures(void **state)
{
    (void)state;
    srandom(SEED);
    struct spectrum spectrum;
    struct distortion seen = { .amplitude = 7.0 };
    struct series series = series_of_reals(trace, SAMPLES, 1.0);
    for (size_t i = 0; i < SAMPLES; i++)
        trace[i] = 5.0;
    make(&series, WINDOW_HANN, &spectrum);
    assert_int_equal(distortion_measure(&spectrum, &seen), WAVE_FLAT);
    for (size_t i = 0; i < SAMPLES; i++)
        trace[i] = uniform();
    make(&series, WINDOW_HANN, &spectrum);
    assert_int_equal(distortion_measure(&spectrum, &seen), WAVE_NOISY);
    for (size_t i = 0; i < SAMPLES; i++)
        trace[i] = sin(two_pi * 1.5 * (double)i / SAMPLES);
    make(&series, WINDOW_BLACKMAN_HARRIS, &spectrum);
    assert_int_equal(distortion_measure(&spectrum, &seen), WAVE_FEW_PERIODS);
    trace[17] = NAN;
    assert_int_equal(spectrum_in(&series, WINDOW_HANN, spectral, &spectrum), WAVE_BAD_SAMPLES);
    series.count = 7;
    assert_int_equal(spectrum_in(&series, WINDOW_HANN, spectral, &spectrum), WAVE_BAD_SAMPLES);
    assert_true(seen.amplitude == 7.0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(lengths_are_products_of_two_three_five),
        cmocka_unit_test(amplitudes_are_those_of_the_definition),
        cmocka_unit_test(windows_have_their_figures),
        cmocka_unit_test(amplitudes_are_corrected_for_the_window),
        cmocka_unit_test(distortion_is_what_was_put_in),
        cmocka_unit_test(reasons_come_instead_of_figures),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
