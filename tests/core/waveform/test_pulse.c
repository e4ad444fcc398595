/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "core/waveform/pulse.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <stdlib.h>

#include "tests/core/noise.h"
#include "tests/near.h"

enum { SEED = 20240613, SAMPLES = 6000, ROUNDS = 200 };

static double trace[SAMPLES];

/* Trapezoid pulses; times in samples, rise and fall between the full states. */
struct shape {
    double period, high, rise, fall, start;
};

static double trapezoid(const struct shape *shape, double t)
{
    double x = fmod(t - shape->start + 10.0 * shape->period, shape->period);
    if (x < shape->rise)
        return x / shape->rise;
    x -= shape->rise + shape->high;
    return x < 0.0 ? 1.0 : x < shape->fall ? 1.0 - x / shape->fall : 0.0;
}

static enum wave_reason measured(size_t count, struct waveform *waveform, struct pulse *pulse)
{
    struct series series = series_of_reals(trace, count, 1e-6);
    assert_true(waveform_measure_series(&series, waveform));
    return pulse_measure(&series, waveform, pulse);
}

static void trapezoids_have_their_figures(void **state)
{
    (void)state;
    print_message("seed %d\n", SEED);
    srandom(SEED);
    for (int round = 0; round < ROUNDS; round++) {
        struct shape shape = { 300.0 + 700.0 * uniform(), 0.0, 5.0 + 20.0 * uniform(),
                               5.0 + 20.0 * uniform(), 300.0 * uniform() };
        shape.high = shape.period * (0.15 + 0.6 * uniform());
        double low = 20.0 * uniform() - 10.0, height = exp(10.0 * uniform() - 5.0);
        for (size_t i = 0; i < SAMPLES; i++)
            trace[i] = low + height * (trapezoid(&shape, (double)i) + 1e-3 * noise());
        struct waveform waveform;
        struct pulse pulse;
        assert_int_equal(measured(SAMPLES, &waveform, &pulse), WAVE_NONE);
        assert_within(pulse.low, low, 2e-4 * height);
        assert_within(pulse.high, low + height, 2e-4 * height);
        assert_within(pulse.rise.duration, 0.8e-6 * shape.rise, 0.15e-6);
        assert_within(pulse.fall.duration, 0.8e-6 * shape.fall, 0.15e-6);
        double wide = shape.high + (shape.rise + shape.fall) / 2.0;
        assert_within(pulse.high_duration, 1e-6 * wide, 0.1e-6);
        assert_within(pulse.low_duration, 1e-6 * (shape.period - wide), 0.1e-6);
        assert_within(pulse.duty, wide / shape.period, 1e-3);
        assert_true(pulse.rise.after < 6e-3 && pulse.fall.before < 6e-3);
    }
}

/* The same record as codes, of any scale and offset. */
static void codes_and_doubles_agree(void **state)
{
    (void)state;
    static int16_t codes[SAMPLES];
    print_message("seed %d\n", SEED);
    srandom(SEED);
    for (int round = 0; round < ROUNDS; round++) {
        struct shape shape = { 400.0 + 300.0 * uniform(), 150.0, 20.0 * uniform() + 1.0, 9.0, 7.0 };
        double height = round % 2 == 0 ? 3000.0 : 60000.0;
        double scale = exp(20.0 * uniform() - 10.0), offset = 1e3 * noise() * scale;
        for (size_t i = 0; i < SAMPLES; i++) {
            codes[i] = (int16_t)rint(height * (trapezoid(&shape, (double)i) - 0.5) + 2.0 * noise());
            trace[i] = offset + scale * codes[i];
        }
        struct waveform of_reals, of_codes;
        struct pulse pulse, other;
        assert_int_equal(measured(SAMPLES, &of_reals, &pulse), WAVE_NONE);
        struct series series = series_of_codes(codes, SAMPLES, scale, offset, 1e-6);
        assert_true(waveform_measure_series(&series, &of_codes));
        assert_int_equal(pulse_measure(&series, &of_codes, &other), WAVE_NONE);
        double fine = 1e-11 * (height * scale + fabs(offset));
        assert_within(of_codes.mean, of_reals.mean, fine);
        assert_within(of_codes.ac_rms, of_reals.ac_rms, fine);
        assert_within(of_codes.rectified, of_reals.rectified, fine);
        assert_within(of_codes.peak_gap, of_reals.peak_gap, fine);
        assert_near(of_codes.frequency, of_reals.frequency, 1e-9);
        assert_near(of_codes.noise, of_reals.noise, 1e-6);
        assert_within(other.low, pulse.low, 2.0 * scale);
        assert_within(other.high, pulse.high, 2.0 * scale);
        assert_near(other.high_duration, pulse.high_duration, 1e-4);
        assert_near(other.duty, pulse.duty, 1e-4);
    }
}

static double triangle(double x)
{
    return fabs(2.0 * (x - floor(x)) - 1.0);
}

static double wave(int kind, double x)
{
    double sine = sin(6.283185307179586 * x);
    switch (kind) {
    case 0:
        return sine;
    case 1:
        return triangle(x);
    case 2:
        return x - floor(x);
    case 3:
        return fmax(sine, 0.0);
    case 4:
        return fabs(sine);
    default:
        return floor(3.0 * (x - floor(x))); /* three states are not two */
    }
}

static void what_does_not_rest_has_no_states(void **state)
{
    (void)state;
    print_message("seed %d\n", SEED);
    srandom(SEED);
    for (int round = 0; round < 10 * ROUNDS; round++) {
        double period = 50.0 + 2000.0 * uniform(), sigma = round % 3 == 0 ? 0.0 : 0.03 * uniform();
        double phase = uniform();
        for (size_t i = 0; i < SAMPLES; i++)
            trace[i] = wave(round % 6, (double)i / period + phase) + sigma * noise();
        struct waveform waveform;
        struct pulse pulse = { .low = 7.0 };
        enum wave_reason reason = measured(SAMPLES, &waveform, &pulse);
        assert_true(reason == WAVE_NO_STATES || reason == WAVE_NOISY);
        assert_true(pulse.low == 7.0);
    }
}

static void noise_and_flat_records_say_so(void **state)
{
    (void)state;
    print_message("seed %d\n", SEED);
    srandom(SEED);
    struct waveform waveform;
    struct pulse pulse;
    for (int round = 0; round < ROUNDS; round++) {
        size_t count = 20 + (size_t)random() % (SAMPLES - 20);
        for (size_t i = 0; i < count; i++)
            trace[i] = 5.0 + noise();
        assert_int_not_equal(measured(count, &waveform, &pulse), WAVE_NONE);
        assert_int_equal(waveform_unfit(&waveform, -INFINITY, INFINITY, 0.0), WAVE_NOISY);
    }
    for (size_t i = 0; i < 100; i++)
        trace[i] = 5.0;
    assert_int_equal(measured(100, &waveform, &pulse), WAVE_FLAT);
    assert_int_equal(waveform_unfit(&waveform, -INFINITY, INFINITY, 0.01), WAVE_FLAT);
    assert_int_equal(waveform_unfit(&waveform, -INFINITY, 5.0, 0.01), WAVE_CLIPPED);
    trace[50] = 9.0; /* a lone spike is no state */
    assert_int_equal(measured(100, &waveform, &pulse), WAVE_FEW_SAMPLES);
}

/* An edge between two samples has no duration that they could tell. */
static void an_edge_too_fast_for_the_samples_has_no_duration(void **state)
{
    (void)state;
    struct shape shape = { 200.0, 80.0, 1.3, 6.0, 20.5 };
    for (size_t i = 0; i < SAMPLES; i++)
        trace[i] = trapezoid(&shape, (double)i);
    struct waveform waveform;
    struct pulse pulse;
    assert_int_equal(measured(SAMPLES, &waveform, &pulse), WAVE_NONE);
    assert_true(isnan(pulse.rise.duration));
    assert_near(pulse.fall.duration, 4.8e-6, 2e-2);
    assert_int_equal(pulse.rise.count, 30);
    assert_true(pulse.fall.count >= 29);
}

/* A runt that turns back before 90 % is no transition. */
static void runts_are_no_transitions(void **state)
{
    (void)state;
    struct shape shape = { 1000.0, 300.0, 20.0, 20.0, 100.0 };
    for (size_t i = 0; i < SAMPLES; i++) {
        double runt = i % 1000 >= 700 && i % 1000 < 720 ? 0.7 : 0.0;
        trace[i] = fmax(trapezoid(&shape, (double)i), runt);
    }
    struct waveform waveform;
    struct pulse pulse;
    assert_int_equal(measured(SAMPLES, &waveform, &pulse), WAVE_NONE);
    assert_int_equal(pulse.rise.count, 6);
    assert_int_equal(pulse.fall.count, 6);
    assert_near(pulse.high_duration, 320e-6, 1e-4);
}

/* In how many of many noisy records the frequency is within two standard uncertainties. */
static void the_frequency_is_as_uncertain_as_stated(void **state)
{
    (void)state;
    print_message("seed %d\n", SEED);
    srandom(SEED);
    int within = 0, rounds = 0;
    double ratio = 0.0;
    for (; rounds < 400; rounds++) {
        double period = 40.0 + 400.0 * uniform(), phase = uniform();
        double sigma = 0.1 * uniform() * uniform();
        for (size_t i = 0; i < SAMPLES; i++)
            trace[i] = wave(0, (double)i / period + phase) + sigma * noise();
        struct waveform waveform;
        struct pulse pulse;
        measured(SAMPLES, &waveform, &pulse);
        double error = fabs(waveform.frequency - 1e6 / period);
        within += error <= 2.0 * waveform.frequency_uncertainty;
        ratio += error / waveform.frequency_uncertainty / 400.0;
    }
    print_message("within two standard uncertainties: %d of %d, mean ratio %.2f\n", within, rounds,
                  ratio);
    assert_true(within >= 380);
    assert_true(ratio > 0.1);
}

/* Edges that fall between two samples: each instant may be half an interval off, 2.45 sigma. */
static void an_edge_between_samples_is_uncertain_by_half_an_interval(void **state)
{
    (void)state;
    print_message("seed %d\n", SEED);
    srandom(SEED);
    for (int round = 0; round < ROUNDS; round++) {
        double period = 40.0 + 400.0 * uniform(), phase = uniform();
        for (size_t i = 0; i < SAMPLES; i++) {
            double x = (double)i / period + phase;
            trace[i] = x - floor(x) < 0.5 ? 1.0 : 0.0;
        }
        struct waveform waveform;
        struct pulse pulse;
        assert_int_equal(measured(SAMPLES, &waveform, &pulse), WAVE_NONE);
        assert_true(waveform.frequency_uncertainty > 0.0);
        assert_within(waveform.frequency, 1e6 / period, 2.5 * waveform.frequency_uncertainty);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(trapezoids_have_their_figures),
        cmocka_unit_test(codes_and_doubles_agree),
        cmocka_unit_test(what_does_not_rest_has_no_states),
        cmocka_unit_test(noise_and_flat_records_say_so),
        cmocka_unit_test(an_edge_too_fast_for_the_samples_has_no_duration),
        cmocka_unit_test(runts_are_no_transitions),
        cmocka_unit_test(the_frequency_is_as_uncertain_as_stated),
        cmocka_unit_test(an_edge_between_samples_is_uncertain_by_half_an_interval),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
