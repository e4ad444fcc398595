/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The simulated bench's arithmetic against closed forms. M-numbers: tests/reference. */
#include "tools/standin/circuit/circuit.h"
#include "tools/standin/circuit/converter.h"
#include "tools/standin/circuit/source.h"
#include "tools/standin/circuit/spread.h"
#include "tools/standin/circuit/wave.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <string.h>

#include <cmocka.h>

#include "tests/near.h"

/* Mean over a period of a function of the waveform, by so many midpoints. */
static double sampled(const struct highpass *highpass, double (*of)(double), size_t count)
{
    double sum = 0.0;

    for (size_t i = 0; i < count; i++)
        sum += of(highpass_at(highpass, ((double)i + 0.5) / (double)count));
    return sum / (double)count;
}

static double itself(double x)
{
    return x;
}

static double squared(double x)
{
    return x * x;
}

static void edges_that_do_not_fit_are_refused(void **state)
{
    struct wave wave;

    (void)state;
    assert_false(wave_pulse(0.0, 1.0, 1e3, 0.0, 0.0, &wave));
    assert_false(wave_pulse(0.0, 1.0, 1e3, 1.0, 0.0, &wave));
    assert_false(wave_pulse(0.0, 1.0, 1e3, 0.5, -1e-6, &wave));
    assert_false(wave_pulse(0.0, 1.0, 1e3, 0.1, 0.09e-3, &wave));
    assert_false(wave_pulse(0.0, 1.0, 1e3, 0.9, 0.09e-3, &wave));
    assert_true(wave_pulse(0.0, 1.0, 1e3, 0.5, 0.09e-3, &wave));
}

static void sources_out_of_bounds_are_refused(void **state)
{
    struct problem problem;
    struct source sine = source_default(SOURCE_SINE);
    struct source dc = source_default(SOURCE_DC);

    (void)state;
    assert_false(source_prepare(&sine, 0.0, &problem));
    assert_non_null(strstr(problem.text, "frequency"));
    sine.frequency = 50.0;
    sine.amplitude = -1.0;
    assert_false(source_prepare(&sine, 0.0, &problem));
    dc.source_resistance = -1.0;
    assert_false(source_prepare(&dc, 0.0, &problem));
    dc.source_resistance = 1.0;
    dc.unit = SOURCE_AMPERES;
    assert_false(source_prepare(&dc, 0.0, &problem));
    dc.source_resistance = 0.0;
    assert_true(source_prepare(&dc, 0.0, &problem));
}

static void probes_that_make_no_sense_are_refused(void **state)
{
    struct problem problem;
    struct source volts = source_default(SOURCE_DC);
    struct source amperes = volts;
    struct probe probe = probe_wire();

    (void)state;
    amperes.unit = SOURCE_AMPERES;
    probe.factor = 0.0;
    assert_false(probe_check(&probe, &volts, &problem));
    probe = probe_wire();
    probe.shunt = 0.1;
    assert_false(probe_check(&probe, &volts, &problem));
    assert_true(probe_check(&probe, &amperes, &problem));
    probe.clamp = 0.01;
    assert_false(probe_check(&probe, &amperes, &problem));
    probe = probe_wire();
    probe.tip_resistance = 1e6;
    probe.load_resistance = 10e6;
    assert_false(probe_check(&probe, &volts, &problem));
}

/*
 * Sine, square, triangle and pulse trains of unit peak. Own derivation,
 * integrals over a period: RMS 1/sqrt(2), 1, 1/sqrt(3) and sqrt(D - D^2), mean
 * magnitude 2/pi, 1, 1/2 and 2 D (1 - D).
 */
static void waveforms_have_their_values(void **state)
{
    struct wave sine = wave_sine(1.0, 50.0);
    struct wave triangle = wave_triangle(1.0, 50.0);
    struct wave square;
    struct wave pulse;

    (void)state;
    assert_near(wave_ac_rms(&sine), 0.7071068, 1e-7);
    assert_near(wave_ac_mean_magnitude(&sine, 0.0), 0.6366198, 1e-7);
    assert_near(wave_ac_rms(&triangle), 0.5773503, 1e-7);
    assert_near(wave_ac_mean_magnitude(&triangle, 0.0), 0.5, 1e-12);
    assert_true(wave_pulse(-1.0, 1.0, 50.0, 0.5, 0.0, &square));
    assert_near(wave_ac_rms(&square), 1.0, 1e-12);
    assert_near(wave_ac_mean_magnitude(&square, 0.0), 1.0, 1e-12);
    assert_true(wave_pulse(0.0, 1.0, 50.0, 0.25, 0.0, &pulse));
    assert_near(wave_mean(&pulse), 0.25, 1e-12);
    assert_near(wave_ac_rms(&pulse), 0.4330127, 1e-7);
    assert_near(wave_ac_mean_magnitude(&pulse, 0.0) * M_PI / (2.0 * M_SQRT2), 0.4165203, 1e-6);
    assert_true(wave_pulse(0.0, 1.0, 50.0, 0.01, 0.0, &pulse));
    assert_near(wave_ac_rms(&pulse), 0.09949874, 1e-7);
}

/*
 * The rectified mean of a sine in noise. Without a sine it is sigma * sqrt(2/pi);
 * with little noise it grows by sigma^2 / (pi * A), the noise power times the share
 * of time that the sine is near zero (worked out by hand). Lines against a sum
 * over many short ones, each of one value.
 */
static void noise_adds_to_the_rectified_mean(void **state)
{
    struct wave sine = wave_sine(1.0, 50.0);
    struct wave triangle = wave_triangle(1.0, 50.0);
    struct wave none = wave_none();
    struct wave square;
    double sum = 0.0;

    (void)state;
    assert_near(wave_ac_mean_magnitude(&none, 0.5), 0.5 * 0.7978846, 1e-7);
    assert_near(wave_ac_mean_magnitude(&sine, 0.01), 2.0 / M_PI + 1e-4 / M_PI, 1e-7);
    assert_near(wave_ac_mean_magnitude(&sine, 1e-9), 2.0 / M_PI, 1e-6);
    assert_near(wave_ac_mean_magnitude(&sine, 100.0), 79.78846 + 0.25 * 0.7978846 / 100.0, 1e-4);
    assert_near(wave_ac_mean_magnitude(&triangle, 0.01), 0.5 + 1e-4 / 2.0, 1e-7);
    assert_true(wave_pulse(-1.0, 1.0, 50.0, 0.5, 0.0, &square));
    assert_near(wave_ac_mean_magnitude(&square, 0.1), 1.0, 1e-12);
    for (int n = 0; n < 4000; n++) {
        double x = (n + 0.5) / 4000.0;
        sum += x * erf(x / M_SQRT2) + 0.7978846 * exp(-x * x / 2.0);
    }
    assert_near(wave_ac_mean_magnitude(&triangle, 1.0), sum / 4000.0, 1e-6);
}

/* Each linear edge of length e takes e (high - low)^2 / 6 off the mean square. */
static void edges_take_their_part_of_the_rms(void **state)
{
    struct wave wave;
    double edge = 0.1;

    (void)state;
    assert_true(wave_pulse(-1.0, 1.0, 1e3, 0.5, 0.8 * edge / 1e3, &wave));
    assert_within(wave_mean(&wave), 0.0, 1e-15);
    assert_near(wave_ac_rms(&wave), sqrt(1.0 - 2.0 * edge + 2.0 * edge / 3.0), 1e-12);
    assert_within(wave_at(&wave, edge / 2.0), 0.0, 1e-12);
    assert_within(wave_at(&wave, 0.5 + edge / 2.0), 0.0, 1e-12);
    assert_within(wave_at(&wave, 7.3), 1.0, 1e-12);
    assert_within(wave_at(&wave, -0.2), -1.0, 1e-12);
}

static void a_sine_passes_a_highpass_by_its_textbook_gain(void **state)
{
    struct wave sine = wave_sine(2.0, 5.0);
    struct highpass highpass;

    (void)state;
    highpass_prepare(&highpass, &sine, 5.0);
    /* At the corner: 1 / sqrt 2, an eighth of a period early. */
    assert_within(highpass_at(&highpass, -0.125), 0.0, 1e-12);
    assert_near(highpass_at(&highpass, 0.125), 2.0 / M_SQRT2, 1e-12);
    assert_near(highpass_gain(50.0, 5.0), 10.0 / sqrt(101.0), 1e-12);
}

/*
 * A square wave of +-A behind a high-pass: it begins each half period T/2 at
 * 2A / (1 + exp(-T/2tau)) and decays with tau. Textbook result, from memory.
 */
static void a_square_droops_behind_a_highpass(void **state)
{
    double corner = 10.0;
    double decay = exp(-2.0 * M_PI * corner * 0.5 / 50.0);
    struct wave square;
    struct highpass highpass;

    (void)state;
    assert_true(wave_pulse(-1.0, 1.0, 50.0, 0.5, 0.0, &square));
    highpass_prepare(&highpass, &square, corner);
    assert_near(highpass_at(&highpass, 0.0), 2.0 / (1.0 + decay), 1e-12);
    assert_near(highpass_at(&highpass, 0.5), -2.0 / (1.0 + decay), 1e-12);
    assert_near(highpass_at(&highpass, 0.5 - 1e-12), 2.0 * decay / (1.0 + decay), 1e-9);
}

static void a_highpass_leaves_no_mean(void **state)
{
    struct wave pulse;
    struct highpass highpass;

    (void)state;
    assert_true(wave_pulse(0.0, 5.0, 100.0, 0.2, 1e-4, &pulse));
    for (double corner = 1e-3; corner < 1e3; corner *= 10.0) {
        highpass_prepare(&highpass, &pulse, corner);
        assert_within(sampled(&highpass, itself, 100000), 0.0, 1e-4);
    }
    highpass_prepare(&highpass, &pulse, 1e-3);
    assert_near(sqrt(sampled(&highpass, squared, 100000)), wave_ac_rms(&pulse), 1e-4);
}

static void truth_is_made_of_level_waveform_and_noise(void **state)
{
    struct problem problem;
    struct source source = source_default(SOURCE_RIPPLE);

    (void)state;
    source.level = 5.0;
    source.ripple = 0.3;
    source.frequency = 100.0;
    source.noise = 0.02;
    source.drift = 0.1;
    source.steps[0] = (struct source_step) { 2.0, -1.0 };
    source.step_count = 1;
    source.set_at = 10.0;
    assert_true(source_prepare(&source, 0.0, &problem));
    assert_near(source_truth(&source, 11.0).dc, 5.1, 1e-12);
    assert_near(source_truth(&source, 13.0).dc, 4.3, 1e-12);
    struct truth truth = source_truth(&source, 10.0);
    double ac = sqrt(0.15 * 0.15 / 3.0 + 0.02 * 0.02);
    assert_near(truth.ac, ac, 1e-12);
    assert_near(truth.rms, sqrt(25.0 + ac * ac), 1e-12);
    assert_near(truth.maximum, 5.15, 1e-12);
    assert_near(truth.minimum, 4.85, 1e-12);
    assert_near(truth.peak_to_peak, 0.3, 1e-12);
    assert_near(truth.frequency, 100.0, 0.0);
}

static void tolerance_moves_the_true_level(void **state)
{
    struct problem problem;
    struct source source = source_default(SOURCE_DC);

    (void)state;
    source.level = 10.0;
    source.tolerance = 0.05;
    assert_true(source_prepare(&source, -1.0, &problem));
    assert_near(source_truth(&source, 0.0).dc, 9.5, 1e-12);
    assert_true(source_prepare(&source, 0.5, &problem));
    assert_near(source_truth(&source, 0.0).dc, 10.25, 1e-12);
}

static double loaded(double volts, double source_ohm, double input_ohm)
{
    struct source source = source_default(SOURCE_DC);
    struct tie tie = { &source, probe_wire() };

    source.source_resistance = source_ohm;
    return volts * circuit_voltage_gain(&tie, input_ohm);
}

static void loading_agrees_with_textbooks(void **state)
{
    (void)state;
    /*
     * Two resistors in series, measured across one of them: Helfrick and Cooper,
     * Modern Electronic Instrumentation and Measurement Techniques, Example 4-5 (p.
     * 62), whose 48.37 V is rounded on the way; Kalsi, Electronic Instrumentation,
     * Example 4.8 (from memory); own derivation, 4 V x 10 k / (10 k + 2 k / 3);
     * Morris and Langari, Measurement and Instrumentation, Fig. 3.9 (from memory).
     */
    assert_near(loaded(50.0, 100e3 * 50e3 / 150e3, 20e3 * 50.0), 48.38709677, 1e-9);
    assert_near(loaded(50.0, 100e3 * 50e3 / 150e3, 1e3 * 50.0), 30.0, 1e-9);
    assert_near(loaded(5.0, 4500.0, 100e3), 4.784688995, 1e-9);
    assert_near(loaded(4.0, 2e6 / 3e3, 10e3), 3.75, 1e-9);
    assert_near(loaded(6.0, 250.0, 7500.0), 5.8064516129, 1e-9);
}

static void a_divider_divides_with_the_input_it_is_on(void **state)
{
    struct source source = source_default(SOURCE_DC);
    struct tie tie = { &source, probe_wire() };

    (void)state;
    tie.probe.factor = 10.0;
    tie.probe.tip_resistance = 10e6;
    tie.probe.load_resistance = 1e6;
    assert_near(circuit_voltage_gain(&tie, 1e6), 0.1, 1e-12);
    /* 9 megohms in series with 10: 10/19, not 1/10. */
    assert_near(circuit_voltage_gain(&tie, 10e6), 10.0 / 19.0, 1e-12);
    source.source_resistance = 1e6;
    assert_near(circuit_voltage_gain(&tie, 1e6), 0.1 * 10.0 / 11.0, 1e-12);
    /* Without load_resistance the factor holds on any input. */
    tie.probe.load_resistance = 0.0;
    tie.probe.factor_error = 0.01;
    assert_near(circuit_voltage_gain(&tie, 10e6), 1.0 / 10.1 * 10.0 / 11.0, 1e-12);
}

static void currents_become_volts_and_amperes(void **state)
{
    struct source amperes = source_default(SOURCE_DC);
    struct tie tie = { &amperes, probe_wire() };

    (void)state;
    amperes.unit = SOURCE_AMPERES;
    assert_near(circuit_current_gain(&tie), 1.0, 1e-15);
    assert_near(circuit_voltage_gain(&tie, 1e6), 1e6, 1e-15);
    tie.probe.shunt = 0.1;
    assert_near(circuit_voltage_gain(&tie, 10e6), 0.1, 1e-7);
    tie.probe.factor_error = 0.02;
    assert_near(circuit_voltage_gain(&tie, 1e12), 0.102, 1e-12);
    tie.probe = probe_wire();
    tie.probe.clamp = 0.01;
    assert_near(circuit_voltage_gain(&tie, 50.0), 0.01, 1e-15);
    struct source volts = source_default(SOURCE_DC);
    volts.source_resistance = 9.9;
    tie = (struct tie) { &volts, probe_wire() };
    assert_near(circuit_current_gain(&tie), 1.0 / (9.9 + CIRCUIT_BURDEN), 1e-12);
}

static void codes_round_and_stay_at_the_ends(void **state)
{
    double rounded;

    (void)state;
    assert_int_equal(converter_code(NAN, -128, 127), -128);
    assert_int_equal(converter_code(-1e300, -128, 127), -128);
    assert_int_equal(converter_code(INFINITY, -128, 127), 127);
    assert_int_equal(converter_code(126.5, -128, 127), 127);
    assert_int_equal(converter_code(126.49, -128, 127), 126);
    assert_int_equal(converter_code(-0.5, -128, 127), 0);
    assert_int_equal(converter_code(-127.51, -128, 127), -128);
    assert_false(converter_counts(2.000006, 1e-5, 200000.0, &rounded));
    assert_false(converter_counts(-INFINITY, 1e-5, 200000.0, &rounded));
    assert_false(converter_counts(NAN, 1e-5, 200000.0, &rounded));
    assert_true(converter_counts(2.000004, 1e-5, 200000.0, &rounded));
    assert_near(rounded, 2.0, 1e-12);
    assert_true(converter_counts(-1.234567, 1e-5, 200000.0, &rounded));
    assert_near(rounded, -1.23457, 1e-12);
}

static void random_numbers_follow_seed_and_name(void **state)
{
    gsl_rng *first = spread_new(7, "meter_a");
    gsl_rng *again = spread_new(7, "meter_a");
    gsl_rng *other = spread_new(7, "meter_b");
    gsl_rng *later = spread_new(8, "meter_a");
    double draw = spread_unit(first);

    (void)state;
    assert_true(draw == spread_unit(again));
    assert_false(draw == spread_unit(other));
    assert_false(draw == spread_unit(later));
    for (int i = 0; i < 10000; i++)
        assert_true(fabs(spread_within(first, 0.25)) <= 0.25);
    gsl_rng_free(first);
    gsl_rng_free(again);
    gsl_rng_free(other);
    gsl_rng_free(later);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(edges_that_do_not_fit_are_refused),
        cmocka_unit_test(sources_out_of_bounds_are_refused),
        cmocka_unit_test(probes_that_make_no_sense_are_refused),
        cmocka_unit_test(waveforms_have_their_values),
        cmocka_unit_test(noise_adds_to_the_rectified_mean),
        cmocka_unit_test(edges_take_their_part_of_the_rms),
        cmocka_unit_test(a_sine_passes_a_highpass_by_its_textbook_gain),
        cmocka_unit_test(a_square_droops_behind_a_highpass),
        cmocka_unit_test(a_highpass_leaves_no_mean),
        cmocka_unit_test(truth_is_made_of_level_waveform_and_noise),
        cmocka_unit_test(tolerance_moves_the_true_level),
        cmocka_unit_test(loading_agrees_with_textbooks),
        cmocka_unit_test(a_divider_divides_with_the_input_it_is_on),
        cmocka_unit_test(currents_become_volts_and_amperes),
        cmocka_unit_test(codes_round_and_stay_at_the_ends),
        cmocka_unit_test(random_numbers_follow_seed_and_name),
    };
    return cmocka_run_group_tests_name("standin_model", tests, NULL, NULL);
}
