/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "core/input/sight.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <string.h>

#include <cmocka.h>

#include "tests/near.h"

static const struct waveshape sine = { WAVESHAPE_SINE, 0 };

static struct spectacle looking_at(enum aspect aspect, struct waveshape shape, double frequency)
{
    return (struct spectacle) { aspect, shape, frequency, NAN };
}

/*
 * Own derivation: two poles of 100 MHz and 60 MHz, |H| = 1 / sqrt(1 + (f/fc)^2)
 * of each, multiplied.
 */
static void roll_off_of_input_and_probe(void **state)
{
    (void)state;
    struct eye eye = eye_unknown();
    struct spectacle spectacle = looking_at(ASPECT_AC, sine, 10e6);
    eye.bandwidth = 100e6;
    eye.probe_bandwidth = 60e6;
    struct sight sight = sight_bandwidth(&eye, &spectacle);
    assert_int_equal(sight.state, SIGHT_UNCERTAIN);
    assert_near(sight.share, 1 - 1 / sqrt(1.01) / sqrt(1 + 1.0 / 36), 1e-12);
    spectacle.frequency = 51.4e6;
    assert_int_equal(sight_bandwidth(&eye, &spectacle).state, SIGHT_UNCERTAIN);
    spectacle.frequency = 51.6e6; /* 1 / sqrt(1/100^2 + 1/60^2) = 51.45 */
    assert_int_equal(sight_bandwidth(&eye, &spectacle).state, SIGHT_BLIND);
    spectacle.aspect = ASPECT_DC;
    assert_int_equal(sight_bandwidth(&eye, &spectacle).state, SIGHT_CLEAR);
    assert_near(sight_combined_bandwidth(100e6, NAN), 100e6, 0);
    assert_true(isnan(sight_combined_bandwidth(NAN, NAN)));
}

static void an_average_responding_meter_sees_sines(void **state)
{
    (void)state;
    struct eye eye = eye_unknown();
    struct waveshape square = { WAVESHAPE_SQUARE, 0 }, unknown = { WAVESHAPE_UNKNOWN, 0 };
    struct spectacle spectacle = looking_at(ASPECT_AC, square, 50);
    eye.response = RESPONSE_AVERAGE;
    struct sight sight = sight_waveform(&eye, &spectacle);
    assert_int_equal(sight.state, SIGHT_BLIND);
    assert_non_null(strstr(sight.reason, "square wrong by +11.1 %"));
    spectacle.shape = sine;
    assert_int_equal(sight_waveform(&eye, &spectacle).state, SIGHT_CLEAR);
    spectacle.shape = unknown;
    assert_int_equal(sight_waveform(&eye, &spectacle).state, SIGHT_BLIND);
    spectacle.crest = 1.414;
    assert_int_equal(sight_waveform(&eye, &spectacle).state, SIGHT_CLEAR);
    spectacle.crest = 1.5;
    assert_int_equal(sight_waveform(&eye, &spectacle).state, SIGHT_BLIND);
    eye.response = RESPONSE_TRUE_RMS;
    assert_int_equal(sight_waveform(&eye, &spectacle).state, SIGHT_CLEAR);
}

static void the_band_holds_or_not(void **state)
{
    (void)state;
    struct eye eye = eye_unknown();
    static const double frequencies[] = { 45, 1e3, 20e3, 44, 21e3, NAN };
    eye.response = RESPONSE_TRUE_RMS;
    eye.low_frequency = 45;
    eye.high_frequency = 20e3;
    for (size_t i = 0; i < 6; i++) {
        struct spectacle spectacle = looking_at(ASPECT_AC, sine, frequencies[i]);
        assert_int_equal(sight_band(&eye, &spectacle).state, i < 3 ? SIGHT_CLEAR : SIGHT_BLIND);
    }
}

static void samples_and_record(void **state)
{
    (void)state;
    struct eye eye = eye_unknown();
    eye.response = RESPONSE_SAMPLES;
    eye.interval = 1e-6;
    eye.record = 1e-3;
    static const struct {
        double frequency;
        enum sight_state state;
    } rows[] = { { 1e3, SIGHT_CLEAR },   { 400e3, SIGHT_CLEAR }, { 401e3, SIGHT_BLIND },
                 { 600e3, SIGHT_BLIND }, { 999, SIGHT_BLIND },   { NAN, SIGHT_CLEAR } };
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        struct spectacle spectacle = looking_at(ASPECT_AC, sine, rows[i].frequency);
        assert_int_equal(sight_sampling(&eye, &spectacle).state, rows[i].state);
    }
}

static void readings_follow_or_not(void **state)
{
    (void)state;
    assert_int_equal(sight_rate(50, 24.9).state, SIGHT_CLEAR);
    assert_int_equal(sight_rate(50, 25).state, SIGHT_BLIND);
    assert_int_equal(sight_rate(NAN, 1).state, SIGHT_BLIND);
    assert_int_equal(sight_rate(50, NAN).state, SIGHT_BLIND);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(roll_off_of_input_and_probe),
        cmocka_unit_test(an_average_responding_meter_sees_sines),
        cmocka_unit_test(the_band_holds_or_not),
        cmocka_unit_test(samples_and_record),
        cmocka_unit_test(readings_follow_or_not),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
