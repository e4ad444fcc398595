/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "core/waveform/waveform.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <stdlib.h>

#include "tests/near.h"

enum { SEED = 20240613, SAMPLES = 2000 };

static const double two_pi = 6.283185307179586;

static double trace[SAMPLES];

/* offset + amplitude sin(2 pi (i / per_period + phase)), phase in periods. */
static void sine(size_t count, double per_period, double phase, double amplitude, double offset)
{
    for (size_t i = 0; i < count; i++)
        trace[i] = offset + amplitude * sin(two_pi * ((double)i / per_period + phase));
}

/* High for `high` of every `period` samples, beginning at sample `start`. */
static void pulses(size_t count, size_t period, size_t high, size_t start)
{
    for (size_t i = 0; i < count; i++)
        trace[i] = (i + period - start) % period < high ? 1.0 : 0.0;
}

/* Normal deviates by the polar method (Marsaglia and Bray 1964; from memory). */
static double normal(void)
{
    for (;;) {
        double u = 2.0 * (double)random() / 2147483648.0 - 1.0;
        double v = 2.0 * (double)random() / 2147483648.0 - 1.0;
        double s = u * u + v * v;
        if (s > 0.0 && s < 1.0)
            return u * sqrt(-2.0 * log(s) / s);
    }
}

static void add_noise(size_t count, double sigma)
{
    for (size_t i = 0; i < count; i++)
        trace[i] += sigma * normal();
}

static bool measures(const double *volts, size_t count, double interval, struct waveform *waveform)
{
    struct series series = series_of_reals(volts, count, interval);
    return waveform_measure_series(&series, waveform);
}

static void quantise(size_t count, double step)
{
    for (size_t i = 0; i < count; i++)
        trace[i] = step * floor(trace[i] / step + 0.5);
}

static struct waveform measured(size_t count)
{
    struct waveform waveform;
    assert_true(measures(trace, count, 1e-3, &waveform));
    return waveform;
}

static void bad_arguments_leave_the_output_alone(void **state)
{
    (void)state;
    struct waveform waveform = { .mean = 7.0 };
    sine(100, 20.0, 0.0, 1.0, 0.0);
    assert_false(measures(trace, 3, 1e-3, &waveform));
    assert_false(measures(trace, 0, 1e-3, &waveform));
    assert_false(measures(trace, 100, 0.0, &waveform));
    assert_false(measures(trace, 100, -1e-3, &waveform));
    assert_false(measures(trace, 100, NAN, &waveform));
    assert_false(measures(trace, 100, INFINITY, &waveform));
    assert_true(waveform.mean == 7.0);
}

static void a_sample_that_is_no_number_spoils_the_trace(void **state)
{
    (void)state;
    static const double wrong[] = { NAN, INFINITY, -INFINITY };
    for (size_t at = 0; at < 100; at += 33) {
        for (size_t i = 0; i < 3; i++) {
            struct waveform waveform = { .mean = 7.0 };
            sine(100, 20.0, 0.0, 1.0, 0.0);
            trace[at] = wrong[i];
            assert_false(measures(trace, 100, 1e-3, &waveform));
            assert_true(waveform.mean == 7.0);
        }
    }
}

static void results_too_large_for_a_double_are_refused(void **state)
{
    (void)state;
    static const double amplitudes[] = { 1e307, 1.7e308, 1e200 };
    for (size_t i = 0; i < 3; i++) {
        struct waveform waveform = { .mean = 7.0 };
        sine(200, 20.0, 0.1, amplitudes[i], 0.0);
        assert_false(measures(trace, 200, 1e-3, &waveform));
        assert_true(waveform.mean == 7.0);
    }
}

static void a_level_trace_is_its_level(void **state)
{
    (void)state;
    for (size_t i = 0; i < 4; i++)
        trace[i] = -0.1;
    struct waveform waveform = measured(4);
    assert_true(waveform.mean == -0.1 && waveform.rms == 0.1 && waveform.ac_rms == 0.0);
    assert_true(waveform.maximum == -0.1 && waveform.minimum == -0.1);
    assert_true(waveform.peak_to_peak == 0.0 && waveform.noise == 0.0);
    assert_true(waveform.peak_gap == 0.0 && waveform.periods == 0.0);
    assert_true(isnan(waveform.frequency));
    assert_int_equal(waveform.count, 4);
    assert_true(waveform.interval == 1e-3);
}

static void less_than_a_period_has_no_frequency(void **state)
{
    (void)state;
    sine(SAMPLES, SAMPLES / 0.9, 0.02, 1.0, 0.0);
    assert_true(isnan(measured(SAMPLES).frequency));
    for (size_t i = 0; i < SAMPLES; i++)
        trace[i] = (double)i;
    struct waveform ramp = measured(SAMPLES);
    assert_true(isnan(ramp.frequency) && ramp.periods == 0.0);
    assert_near(ramp.mean, (SAMPLES - 1) / 2.0, 1e-15);
    assert_true(ramp.noise == 0.0 && ramp.peak_gap == 0.0);
}

static void any_phase_and_length_gives_the_same_values(void **state)
{
    (void)state;
    for (double periods = 2.05; periods < 60.0; periods *= 1.13) {
        for (double phase = 0.0; phase < 1.0; phase += 0.0625) {
            sine(SAMPLES, SAMPLES / periods, phase, 2.0, -0.3);
            struct waveform waveform = measured(SAMPLES);
            double samples_per_period = SAMPLES / periods;
            double fine = 20.0 / (samples_per_period * samples_per_period);
            assert_true(waveform.periods >= floor(periods) - 1.0);
            assert_near(waveform.frequency, 1e3 / samples_per_period, fine);
            assert_within(waveform.mean, -0.3, 2.0 * fine);
            assert_within(waveform.ac_rms, sqrt(2.0), 2.0 * fine);
            assert_near(waveform.rms, hypot(waveform.mean, waveform.ac_rms), 1e-15);
        }
    }
}

static void falling_crossings_serve_where_rising_ones_do_not(void **state)
{
    (void)state;
    /* 1.6 periods from phase zero: down at 0.5 and 1.5, up only at 1. */
    sine(SAMPLES, SAMPLES / 1.6, 0.0, 1.0, 0.0);
    struct waveform waveform = measured(SAMPLES);
    assert_true(waveform.periods == 1.0);
    assert_near(waveform.rms, sqrt(0.5), 1e-5);
    assert_within(waveform.mean, 0.0, 1e-5);
}

/* By definition: mean D and rms sqrt(D) of a pulse of height 1 and duty D. */
static void pulses_keep_their_mean_square(void **state)
{
    (void)state;
    for (size_t high = 2; high < 200; high += 7) {
        pulses(SAMPLES, 200, high, 57);
        struct waveform waveform = measured(SAMPLES);
        double duty = (double)high / 200.0;
        assert_near(waveform.mean, duty, 1e-12);
        assert_near(waveform.rms, sqrt(duty), 1e-12);
        assert_near(waveform.frequency, 5.0, 1e-12);
        assert_true(waveform.noise == 0.0);
    }
}

static void irregular_crossings_are_no_period(void **state)
{
    (void)state;
    static const size_t starts[] = { 200, 500, 800, 1200, 1500, 1800 };
    sine(SAMPLES, 1.0, 0.0, 0.0, 0.0);
    for (size_t i = 0; i < 6; i++)
        trace[starts[i]] = trace[starts[i] + 1] = 1.0;
    struct waveform waveform = measured(SAMPLES);
    assert_true(isnan(waveform.frequency) && waveform.periods == 0.0);
    assert_near(waveform.mean, 12.0 / SAMPLES, 1e-14);
}

/* A step back of a twentieth at the mid level, in an otherwise quiet trace. */
static void chatter_at_the_mid_level_adds_no_crossing(void **state)
{
    (void)state;
    sine(SAMPLES, 500.0, 0.51, 1.0, 0.0);
    for (size_t i = 1; i + 2 < SAMPLES; i++) {
        /* The slope there is 0.013 a sample, so what was put there is not taken for a passage. */
        if (trace[i - 1] < 0.0 && trace[i - 1] > -0.02 && trace[i] >= 0.0)
            trace[i + 1] = -0.05;
    }
    struct waveform waveform = measured(SAMPLES);
    assert_true(waveform.periods == 3.0);
    assert_near(waveform.frequency, 2.0, 1e-2);
}

static void two_chance_crossings_are_no_period(void **state)
{
    (void)state;
    pulses(SAMPLES, SAMPLES, 10, 900);
    trace[950] = trace[951] = 1.0;
    struct waveform waveform = measured(SAMPLES);
    assert_true(isnan(waveform.frequency));
    assert_near(waveform.mean, 12.0 / SAMPLES, 1e-14);
}

static void noise_alone_has_no_frequency(void **state)
{
    (void)state;
    print_message("seed %d\n", SEED);
    srandom(SEED);
    for (int round = 0; round < 500; round++) {
        size_t count = 50 + (size_t)random() % (SAMPLES - 50);
        sine(count, 50.0, 0.0, 0.0, 1.0);
        add_noise(count, 0.01);
        assert_true(isnan(measured(count).frequency));
    }
}

static void noise_does_not_add_crossings(void **state)
{
    (void)state;
    print_message("seed %d\n", SEED);
    srandom(SEED);
    for (int round = 0; round < 300; round++) {
        sine(SAMPLES, 173.0, (double)round / 300.0, 1.0, 0.0);
        add_noise(SAMPLES, 0.1);
        struct waveform waveform = measured(SAMPLES);
        assert_near(waveform.frequency, 1e3 / 173.0, 0.02);
        assert_near(waveform.ac_rms, sqrt(0.5 + 0.01), 0.02);
        assert_within(waveform.mean, 0.0, 0.02);
    }
}

static void noise_is_estimated_beside_edges(void **state)
{
    (void)state;
    print_message("seed %d\n", SEED);
    srandom(SEED);
    for (int round = 0; round < 200; round++) {
        pulses(SAMPLES, 100, 50, 20);
        add_noise(SAMPLES, 0.003);
        /* Median over 2000: 2.5 % of scatter, and a fifth of a period's edges. */
        assert_near(measured(SAMPLES).noise, 0.003, 0.2);
    }
}

static void a_clean_trace_has_no_noise(void **state)
{
    (void)state;
    pulses(SAMPLES, 100, 50, 20);
    assert_true(measured(SAMPLES).noise == 0.0);
    sine(SAMPLES, 1000.0, 0.3, 1.0, 5.0);
    assert_true(measured(SAMPLES).noise < 2e-5);
    quantise(SAMPLES, 0.125);
    assert_true(measured(SAMPLES).noise == 0.0);
    sine(SAMPLES, 100.0, 0.3, 0.0, 5.0);
    trace[77] += 0.01;
    assert_true(measured(SAMPLES).noise == 0.0);
}

/* The figure promised in the header: about 17 A / n^2 from the curvature of a sine. */
static void curvature_counts_as_noise(void **state)
{
    (void)state;
    for (double per_period = 20.0; per_period < 500.0; per_period *= 1.7) {
        sine(SAMPLES, per_period, 0.1, 1.0, 0.0);
        assert_near(measured(SAMPLES).noise, 16.9 / (per_period * per_period), 0.15);
    }
}

/* Second differences of 1, 2, 3, 10 and 10 in this trace: the median is 3. */
static void the_median_is_one_of_the_differences(void **state)
{
    (void)state;
    static const double second[] = { 10.0, 1.0, 10.0, 2.0, 3.0 };
    trace[0] = 0.0;
    trace[1] = 0.0;
    for (size_t i = 0; i < 5; i++)
        trace[i + 2] = 2.0 * trace[i + 1] - trace[i] + second[i];
    assert_near(measured(7).noise, 3.0 / (0.67448975019608174 * sqrt(6.0)), 1e-7);
}

static void the_peak_gap_bounds_every_sine(void **state)
{
    (void)state;
    print_message("seed %d\n", SEED);
    srandom(SEED);
    for (double per_period = 4.0; per_period < 300.0; per_period *= 1.11) {
        for (int round = 0; round < 200; round++) {
            double phase = (double)random() / 2147483648.0;
            size_t count = (size_t)(2.0 * per_period) + 10 + (size_t)random() % 100;
            sine(count, per_period, phase, 1.0, 0.0);
            struct waveform waveform = measured(count);
            double missing = fmax(1.0 - waveform.maximum, 1.0 + waveform.minimum);
            assert_true(waveform.peak_gap >= missing - 1e-12);
            /* In a record's first sample it may be as much as the whole curvature. */
            assert_true(waveform.peak_gap <= 41.0 / (per_period * per_period) + 1e-12 ||
                        per_period < 12.0);
        }
    }
}

/* The peak of a short record between its first two samples, and mirrored, its last two. */
static void the_peak_gap_holds_at_the_ends(void **state)
{
    (void)state;
    for (double offset = 0.0; offset <= 1.0; offset += 0.0625) {
        for (double per_period = 12.0; per_period < 100.0; per_period *= 1.3) {
            sine(5, per_period, 0.25 - offset / per_period, 1.0, 0.0);
            struct waveform waveform = measured(5);
            assert_true(waveform.peak_gap >= 1.0 - waveform.maximum - 1e-12);
            sine(5, per_period, 0.25 - (4.0 - offset) / per_period, 1.0, 0.0);
            waveform = measured(5);
            assert_true(waveform.peak_gap >= 1.0 - waveform.maximum - 1e-12);
        }
    }
}

static void the_peak_gap_bounds_a_triangle(void **state)
{
    (void)state;
    for (double phase = 0.0; phase < 1.0; phase += 0.01) {
        for (size_t i = 0; i < 100; i++) {
            double x = ((double)i + phase) / 25.0;
            trace[i] = fabs(x - 2.0 * floor(x / 2.0 + 0.5));
        }
        struct waveform waveform = measured(100);
        double missing = fmax(1.0 - waveform.maximum, waveform.minimum);
        assert_true(waveform.peak_gap >= missing - 1e-12);
        assert_true(waveform.peak_gap <= 0.04 + 1e-12);
    }
}

/* A sawtooth goes on rising until it falls, anywhere between two samples. */
static void the_peak_gap_bounds_a_sawtooth(void **state)
{
    (void)state;
    for (double phase = 0.0; phase < 1.0; phase += 0.01) {
        for (size_t i = 0; i < 100; i++) {
            double x = ((double)i + phase) / 25.0;
            trace[i] = x - floor(x);
        }
        struct waveform waveform = measured(100);
        double missing = fmax(1.0 - waveform.maximum, waveform.minimum);
        assert_true(waveform.peak_gap >= missing - 0.002);
        assert_true(waveform.peak_gap <= 0.08 + 1e-12);
    }
}

static void edges_do_not_widen_the_peak_gap(void **state)
{
    (void)state;
    pulses(SAMPLES, 100, 50, 20);
    assert_true(measured(SAMPLES).peak_gap == 0.0);
    /* One sample on the edge, and a top that droops a little. */
    for (size_t i = 0; i < SAMPLES; i++)
        trace[i] = trace[i] > 0.5 ? 1.0 - 1e-4 * (double)((i + 80) % 100) : 0.0;
    trace[19] = 0.5;
    assert_true(measured(SAMPLES).peak_gap <= 0.0001 + 1e-12);
}

static void a_lone_spike_widens_the_peak_gap(void **state)
{
    (void)state;
    pulses(SAMPLES, SAMPLES, 1, 1000);
    assert_within(measured(SAMPLES).peak_gap, 0.25, 1e-15);
}

/* A small ac part on a large dc part: by subtracting squares nothing would be left of it. */
static void a_large_mean_does_not_swallow_the_rest(void **state)
{
    (void)state;
    for (size_t i = 0; i < SAMPLES; i++)
        trace[i] = 1e8 + (i % 100 < 50 ? 1.0 : -1.0) * 0.0009765625;
    struct waveform waveform = measured(SAMPLES);
    assert_near(waveform.ac_rms, 0.0009765625, 1e-6);
    assert_near(waveform.mean, 1e8, 1e-15);
}

/* Ten million samples of 0.1 sum to a million only if the roundings are kept. */
static void a_long_record_keeps_its_digits(void **state)
{
    (void)state;
    enum { LONG = 10000000 };
    double *samples = malloc(LONG * sizeof(*samples));
    assert_non_null(samples);
    for (size_t i = 0; i < LONG; i++)
        samples[i] = i % 1000 < 500 ? 0.1 : 0.3;
    struct waveform waveform;
    assert_true(measures(samples, LONG, 1e-9, &waveform));
    free(samples);
    assert_near(waveform.mean, 0.2, 1e-14);
    assert_near(waveform.ac_rms, 0.1, 1e-14);
    assert_near(waveform.frequency, 1e6, 1e-12);
    assert_true(waveform.periods == 9999.0);
}

static void every_aspect_has_its_value(void **state)
{
    (void)state;
    const struct waveform waveform = {
        .mean = 1.0, .ac_rms = 2.0, .rms = 3.0, .maximum = 4.0, .peak_to_peak = 6.0, .minimum = 5.0
    };
    assert_true(waveform_aspect(&waveform, ASPECT_DC) == 1.0);
    assert_true(waveform_aspect(&waveform, ASPECT_AC) == 2.0);
    assert_true(waveform_aspect(&waveform, ASPECT_RMS) == 3.0);
    assert_true(waveform_aspect(&waveform, ASPECT_MAXIMUM) == 4.0);
    assert_true(waveform_aspect(&waveform, ASPECT_MINIMUM) == 5.0);
    assert_true(waveform_aspect(&waveform, ASPECT_PEAK_TO_PEAK) == 6.0);
    assert_true(isnan(waveform_aspect(&waveform, ASPECT_WHOLE)));
}

/* One and a half periods of a square wave: over its one whole period the mean is 0.5, over all 2/3. */
static void a_whole_record_knows_no_periods(void **state)
{
    (void)state;
    struct waveform whole;
    for (size_t i = 0; i < 300; i++)
        trace[i] = i / 100 % 2 == 0 ? 1.0 : 0.0;
    struct series series = series_of_reals(trace, 300, 1e-3);
    assert_true(waveform_measure_whole(&series, &whole));
    assert_within(whole.mean, 2.0 / 3.0, 1e-12);
    assert_true(whole.periods == 0.0);
    assert_true(isnan(whole.frequency) && isnan(whole.frequency_uncertainty));
    assert_within(whole.peak_to_peak, 1.0, 1e-12);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(bad_arguments_leave_the_output_alone),
        cmocka_unit_test(a_sample_that_is_no_number_spoils_the_trace),
        cmocka_unit_test(results_too_large_for_a_double_are_refused),
        cmocka_unit_test(a_level_trace_is_its_level),
        cmocka_unit_test(less_than_a_period_has_no_frequency),
        cmocka_unit_test(any_phase_and_length_gives_the_same_values),
        cmocka_unit_test(falling_crossings_serve_where_rising_ones_do_not),
        cmocka_unit_test(pulses_keep_their_mean_square),
        cmocka_unit_test(irregular_crossings_are_no_period),
        cmocka_unit_test(chatter_at_the_mid_level_adds_no_crossing),
        cmocka_unit_test(two_chance_crossings_are_no_period),
        cmocka_unit_test(noise_alone_has_no_frequency),
        cmocka_unit_test(noise_does_not_add_crossings),
        cmocka_unit_test(noise_is_estimated_beside_edges),
        cmocka_unit_test(a_clean_trace_has_no_noise),
        cmocka_unit_test(curvature_counts_as_noise),
        cmocka_unit_test(the_median_is_one_of_the_differences),
        cmocka_unit_test(the_peak_gap_bounds_every_sine),
        cmocka_unit_test(the_peak_gap_holds_at_the_ends),
        cmocka_unit_test(the_peak_gap_bounds_a_triangle),
        cmocka_unit_test(the_peak_gap_bounds_a_sawtooth),
        cmocka_unit_test(edges_do_not_widen_the_peak_gap),
        cmocka_unit_test(a_lone_spike_widens_the_peak_gap),
        cmocka_unit_test(a_large_mean_does_not_swallow_the_rest),
        cmocka_unit_test(a_long_record_keeps_its_digits),
        cmocka_unit_test(a_whole_record_knows_no_periods),
        cmocka_unit_test(every_aspect_has_its_value),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
