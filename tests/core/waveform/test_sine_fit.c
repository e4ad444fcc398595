/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "core/waveform/sine_fit.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <stdlib.h>

#include "tests/core/noise.h"
#include "tests/near.h"

enum { SEED = 20240613, SAMPLES = 3000 };

static const double two_pi = 6.2831853071795865;

static double trace[SAMPLES];

/* Random sines on offsets up to a million times as large; stated uncertainties hold. */
static void fits_find_what_was_put_in(void **state)
{
    (void)state;
    print_message("seed %d\n", SEED);
    srandom(SEED);
    int within = 0;
    for (int round = 0; round < 400; round++) {
        double f = (2.0 + 500.0 * uniform()) / SAMPLES, amplitude = exp(10.0 * uniform() - 5.0);
        double offset = amplitude * pow(10.0, 6.0 * uniform()), phase = two_pi * uniform();
        double sigma = 0.05 * amplitude;
        for (size_t i = 0; i < SAMPLES; i++)
            trace[i] = offset + amplitude * cos(two_pi * f * (double)i + phase) + sigma * noise();
        struct series series = series_of_reals(trace, SAMPLES, 1.0);
        struct sine_fit fit;
        double start = f + (uniform() - 0.5) * 0.5 / SAMPLES;
        assert_int_equal(sine_fit_four(&series, start, &fit), WAVE_NONE);
        within += fabs(fit.frequency - f) <= 2.0 * fit.frequency_uncertainty;
        within += fabs(fit.amplitude - amplitude) <= 2.0 * fit.amplitude_uncertainty;
        within += fabs(fit.offset - offset) <= 2.0 * fit.offset_uncertainty;
        assert_within(remainder(fit.phase - phase, two_pi), 0.0, 0.02);
        assert_near(fit.residual, sigma, 0.1);
    }
    print_message("within two standard uncertainties: %d of 1200\n", within);
    assert_true(within >= 1110 && within < 1190);
}

static void a_sine_without_noise_is_found_exactly(void **state)
{
    (void)state;
    for (double f = 1.3 / SAMPLES; f < 0.49; f *= 1.7) {
        for (size_t i = 0; i < SAMPLES; i++)
            trace[i] = 3.0 * cos(two_pi * f * (double)i + 1.0) - 20.0;
        struct series series = series_of_reals(trace, SAMPLES, 1.0);
        struct sine_fit fit;
        assert_int_equal(sine_fit_four(&series, f + 0.1 / SAMPLES, &fit), WAVE_NONE);
        assert_near(fit.frequency, f, 1e-11);
        assert_near(fit.amplitude, 3.0, 1e-10);
        assert_within(fit.phase, 1.0, 1e-9);
        assert_within(fit.residual, 0.0, 1e-11);
    }
}

static void failures_have_their_reasons(void **state)
{
    (void)state;
    srandom(SEED);
    struct sine_fit fit = { .amplitude = 7.0 };
    for (size_t i = 0; i < SAMPLES; i++)
        trace[i] = sin(two_pi * 0.01 * (double)i);
    struct series series = series_of_reals(trace, SAMPLES, 1.0);
    assert_int_equal(sine_fit_four(&series, 0.5 / SAMPLES, &fit), WAVE_FEW_PERIODS);
    assert_int_equal(sine_fit_four(&series, NAN, &fit), WAVE_FEW_PERIODS);
    assert_int_equal(sine_fit_four(&series, 0.5, &fit), WAVE_FEW_SAMPLES);
    assert_int_equal(sine_fit_four(&series, 0.01 + 30.3 / SAMPLES, &fit), WAVE_NO_FIT);
    series.count = 4;
    assert_int_equal(sine_fit_four(&series, 0.3, &fit), WAVE_BAD_SAMPLES);
    series.count = SAMPLES;
    trace[5] = INFINITY;
    assert_int_equal(sine_fit_three(&series, 0.01, &fit), WAVE_BAD_SAMPLES);
    assert_true(fit.amplitude == 7.0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(fits_find_what_was_put_in),
        cmocka_unit_test(a_sine_without_noise_is_found_exactly),
        cmocka_unit_test(failures_have_their_reasons),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
