/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "core/input/suitability.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <string.h>

#include <cmocka.h>

#include "tests/near.h"

static const struct waveshape sine = { WAVESHAPE_SINE, 0 };

static struct signal_facts looking_at(enum aspect aspect, struct waveshape shape, double frequency)
{
    return (struct signal_facts) { aspect, shape, frequency, NAN };
}

/*
 * Own derivation: two poles of 100 MHz and 60 MHz, |H| = 1 / sqrt(1 + (f/fc)^2)
 * of each, multiplied.
 */
static void roll_off_of_input_and_probe(void **state)
{
    (void)state;
    struct abilities abilities = abilities_unknown();
    struct signal_facts signal_facts = looking_at(ASPECT_AC, sine, 10e6);
    abilities.bandwidth = 100e6;
    abilities.probe_bandwidth = 60e6;
    struct suitability suitability = suitability_bandwidth(&abilities, &signal_facts);
    assert_int_equal(suitability.state, SUITABILITY_PARTIAL);
    assert_near(suitability.share, 1 - 1 / sqrt(1.01) / sqrt(1 + 1.0 / 36), 1e-12);
    signal_facts.frequency = 51.4e6;
    assert_int_equal(suitability_bandwidth(&abilities, &signal_facts).state, SUITABILITY_PARTIAL);
    signal_facts.frequency = 51.6e6; /* 1 / sqrt(1/100^2 + 1/60^2) = 51.45 */
    assert_int_equal(suitability_bandwidth(&abilities, &signal_facts).state, SUITABILITY_NONE);
    signal_facts.aspect = ASPECT_DC;
    assert_int_equal(suitability_bandwidth(&abilities, &signal_facts).state, SUITABILITY_FULL);
    assert_near(suitability_combined_bandwidth(100e6, NAN), 100e6, 0);
    assert_true(isnan(suitability_combined_bandwidth(NAN, NAN)));
}

static void an_average_responding_meter_sees_sines(void **state)
{
    (void)state;
    struct abilities abilities = abilities_unknown();
    struct waveshape square = { WAVESHAPE_SQUARE, 0 }, unknown = { WAVESHAPE_UNKNOWN, 0 };
    struct signal_facts signal_facts = looking_at(ASPECT_AC, square, 50);
    abilities.response = RESPONSE_AVERAGE;
    struct suitability suitability = suitability_waveform(&abilities, &signal_facts);
    assert_int_equal(suitability.state, SUITABILITY_NONE);
    assert_non_null(strstr(suitability.reason, "square wrong by +11.1 %"));
    signal_facts.shape = sine;
    assert_int_equal(suitability_waveform(&abilities, &signal_facts).state, SUITABILITY_FULL);
    signal_facts.shape = unknown;
    assert_int_equal(suitability_waveform(&abilities, &signal_facts).state, SUITABILITY_NONE);
    signal_facts.crest = 1.414;
    assert_int_equal(suitability_waveform(&abilities, &signal_facts).state, SUITABILITY_FULL);
    signal_facts.crest = 1.5;
    assert_int_equal(suitability_waveform(&abilities, &signal_facts).state, SUITABILITY_NONE);
    abilities.response = RESPONSE_TRUE_RMS;
    assert_int_equal(suitability_waveform(&abilities, &signal_facts).state, SUITABILITY_FULL);
}

static void the_band_holds_or_not(void **state)
{
    (void)state;
    struct abilities abilities = abilities_unknown();
    static const double frequencies[] = { 45, 1e3, 20e3, 44, 21e3, NAN };
    abilities.response = RESPONSE_TRUE_RMS;
    abilities.low_frequency = 45;
    abilities.high_frequency = 20e3;
    for (size_t i = 0; i < 6; i++) {
        struct signal_facts signal_facts = looking_at(ASPECT_AC, sine, frequencies[i]);
        assert_int_equal(suitability_band(&abilities, &signal_facts).state,
                         i < 3 ? SUITABILITY_FULL : SUITABILITY_NONE);
    }
}

static void samples_and_record(void **state)
{
    (void)state;
    struct abilities abilities = abilities_unknown();
    abilities.response = RESPONSE_SAMPLES;
    abilities.interval = 1e-6;
    abilities.record = 1e-3;
    static const struct {
        double frequency;
        enum suitability_state state;
    } rows[] = { { 1e3, SUITABILITY_FULL },   { 400e3, SUITABILITY_FULL },
                 { 401e3, SUITABILITY_NONE }, { 600e3, SUITABILITY_NONE },
                 { 999, SUITABILITY_NONE },   { NAN, SUITABILITY_FULL } };
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        struct signal_facts signal_facts = looking_at(ASPECT_AC, sine, rows[i].frequency);
        assert_int_equal(suitability_sampling(&abilities, &signal_facts).state, rows[i].state);
    }
}

static void readings_follow_or_not(void **state)
{
    (void)state;
    assert_int_equal(suitability_rate(50, 24.9).state, SUITABILITY_FULL);
    assert_int_equal(suitability_rate(50, 25).state, SUITABILITY_NONE);
    assert_int_equal(suitability_rate(NAN, 1).state, SUITABILITY_NONE);
    assert_int_equal(suitability_rate(50, NAN).state, SUITABILITY_NONE);
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
