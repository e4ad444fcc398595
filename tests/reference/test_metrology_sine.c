/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Sine fits after IEEE Std 1057, quantisation, effective bits. */
#include "core/waveform/sine_fit.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "tests/near.h"

enum { RECORD = 4096 };

static const double two_pi = 6.2831853071795865;

/* Own data, millivolts at 1 kHz. */
static const int16_t record[] = { 1683, 1338, 808, 278,  -281, -767,  -1127, -1367, -1374, -1275,
                                  -954, -532, 34,  554,  1101, 1531,  1840,  1996,  1939,  1760,
                                  1351, 884,  322, -189, -721, -1090, -1341, -1406, -1277, -1011,
                                  -550, -72,  499, 1017, 1512, 1803,  1988,  1961,  1767,  1427 };
enum { COUNT = sizeof record / sizeof record[0] };

static struct series millivolts(void)
{
    return series_of_codes(record, COUNT, 1.0, 0.0, 1e-3);
}

/*
 * Three parameters of IEEE Std 1057: linear least squares, the normal equations
 * solved at 40 digits.
 */
static void three_parameters(void **state)
{
    (void)state;
    static const double rows[][7] = {
        { 52.0, 1369.03754883, -1007.13629247, 302.724487845, 1699.5844556, 0.634255484581,
          28.13580053 },
        { 52.3, 1403.32413134, -959.512450181, 296.016507611, 1699.9949293, 0.599731404836,
          13.65956371 },
    };
    struct series series = millivolts();
    for (size_t i = 0; i < 2; i++) {
        struct sine_fit fit;
        assert_int_equal(sine_fit_three(&series, rows[i][0], &fit), WAVE_NONE);
        assert_near(fit.in_phase, rows[i][1], 1e-9);
        assert_near(fit.quadrature, rows[i][2], 1e-9);
        assert_near(fit.offset, rows[i][3], 1e-9);
        assert_near(fit.amplitude, rows[i][4], 1e-9);
        assert_within(fit.phase, rows[i][5], 1e-9);
        assert_near(fit.residual, rows[i][6], 1e-9);
        assert_true(isnan(fit.frequency_uncertainty));
    }
}

/*
 * Four parameters of IEEE Std 1057: columns cos, sin, 1, t (B cos - A sin),
 * again and again; 40 digits.
 */
static void four_parameters(void **state)
{
    (void)state;
    static const double iterates[] = { 52.2970909934, 52.2967602849, 52.2967602432, 52.2967602432 };
    struct series series = millivolts();
    struct sine_fit fit;
    assert_int_equal(sine_fit_three(&series, 52.0, &fit), WAVE_NONE);
    for (size_t i = 0; i < 4; i++) {
        assert_int_equal(sine_fit_step(&series, &fit), WAVE_NONE);
        assert_within(fit.frequency, iterates[i], 1e-6);
    }
    assert_int_equal(sine_fit_four(&series, 52.0, &fit), WAVE_NONE);
    assert_within(fit.frequency, 52.29676024318, 1e-9);
    assert_near(fit.in_phase, 1402.96404723, 1e-9);
    assert_near(fit.quadrature, -960.037056673, 1e-9);
    assert_near(fit.offset, 296.087966346, 1e-9);
    assert_near(fit.amplitude, 1699.99390235, 1e-9);
    assert_within(fit.phase, 0.600105697315, 1e-9);
    assert_near(fit.residual, 13.65691737, 1e-9);
}

/* Relations of IEEE Std 1057 and 1241; own data, worked in double precision. */
static void ideal_quantiser(void **state)
{
    (void)state;
    static int16_t codes[RECORD];
    for (size_t k = 0; k < RECORD; k++) {
        double x = 127.25 * sin(two_pi * 127.0 * (double)k / RECORD + 0.1) + 0.3;
        codes[k] = (int16_t)floor(x + 0.5);
    }
    struct series series = series_of_codes(codes, RECORD, 1.0, 0.0, 1.0);
    struct sine_fit fit;
    assert_int_equal(sine_fit_three(&series, 127.0 / RECORD, &fit), WAVE_NONE);
    assert_within(fit.amplitude, 127.25465, 1e-4);
    assert_within(fit.offset, 0.29907227, 1e-4);
    assert_within(fit.residual, 0.29044412, 1e-4);
    assert_within(sine_fit_sinad(&fit), 49.821921, 0.005);
    assert_within((sine_fit_sinad(&fit) - 1.76091259056) / 6.02059991328, 7.9827607, 0.001);
    assert_int_equal(sine_fit_four(&series, 127.2 / RECORD, &fit), WAVE_NONE);
    assert_within(fit.residual, 0.29044412, 1e-4);
}

/*
 * SINAD = 6.02 N + 1.76 dB, as IEEE Std 1241 has it. Own derivation: an even
 * error of width q has the RMS q / sqrt(12), a sine over the whole span 2^N q /
 * sqrt(8): 20 log10(2^N sqrt(3/2)).
 */
static void ideal_quantisation_figures(void **state)
{
    (void)state;
    static const double rows[][3] = { { 8, 49.9257119, 0.001127637245 },
                                      { 10, 61.96691172, 0.0002819093111 },
                                      { 12, 74.00811155, 7.047732778e-05 },
                                      { 14, 86.04931138, 1.761933195e-05 },
                                      { 16, 98.0905112, 4.404832986e-06 } };
    for (size_t i = 0; i < 5; i++) {
        struct sine_fit fit = { .amplitude = 0.5, .residual = rows[i][2] };
        assert_within(sine_fit_sinad(&fit), rows[i][1], 1e-7);
    }
}

/*
 * Cramer-Rao bounds: Rife and Boorstyn, IEEE Trans. Inf. Theory 20 (1974) 591,
 * from memory: sigma sqrt(2 / N), sigma / sqrt(N), and sqrt(24 / (N (N^2 - 1)))
 * sigma fs / (2 pi A). Residual set, not drawn.
 */
static void uncertainties_are_the_bounds(void **state)
{
    (void)state;
    enum { N = 1000 };
    static double y[N];
    /* Alternating by 0.01: it is orthogonal to the sine, and its RMS is sigma. */
    for (size_t i = 0; i < N; i++)
        y[i] = sin(two_pi * 0.05 * (double)i) + (i % 2 == 0 ? 0.01 : -0.01);
    struct series series = series_of_reals(y, N, 1e-3);
    struct sine_fit fit;
    assert_int_equal(sine_fit_four(&series, 50.2, &fit), WAVE_NONE);
    assert_near(fit.residual, 0.01, 1e-4);
    assert_near(fit.amplitude_uncertainty, 0.0004472135955, 1e-3);
    assert_near(fit.offset_uncertainty, 0.000316227766, 1e-3);
    assert_near(fit.frequency_uncertainty, 0.0002465619009, 1e-3);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(three_parameters),
        cmocka_unit_test(four_parameters),
        cmocka_unit_test(ideal_quantiser),
        cmocka_unit_test(ideal_quantisation_figures),
        cmocka_unit_test(uncertainties_are_the_bounds),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
