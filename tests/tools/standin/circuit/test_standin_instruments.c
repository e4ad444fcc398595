/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The simulated meters and scopes against their printed specifications. */
#include "tools/standin/circuit/meter.h"
#include "tools/standin/circuit/scope.h"
#include "tools/standin/circuit/spread.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <string.h>

#include <cmocka.h>

#include "tests/near.h"

enum { INSTRUMENTS = 300, FIRST_SEED = 1 };

static struct source made(enum source_kind kind, double size, double frequency)
{
    struct problem problem;
    struct source source = source_default(kind);

    source.level = kind == SOURCE_DC ? size : 0.0;
    source.amplitude = fabs(size);
    source.ripple = fabs(size);
    source.low = -size;
    source.high = size;
    source.frequency = frequency;
    assert_true(source_prepare(&source, 0.0, &problem));
    return source;
}

/* One reading of an ideal meter on a function and range. */
static struct meter_reading ideal_reading(const struct meter_type *type,
                                          enum meter_function function, size_t range,
                                          const struct source *source)
{
    struct meter meter;
    struct tie tie = { source, probe_wire() };
    gsl_rng *rng = spread_new(FIRST_SEED, "ideal");

    meter_init(&meter, type, rng, 0.0);
    assert_true(meter_select_function(&meter, function));
    assert_true(meter_select_range(&meter, function, range));
    struct meter_reading reading = meter_read(&meter, &tie, 0.0, rng);
    gsl_rng_free(rng);
    return reading;
}

static void a_meter_refuses_what_it_has_not(void **state)
{
    struct meter meter;
    size_t range;
    gsl_rng *rng = spread_new(FIRST_SEED, "refuse");

    (void)state;
    meter_init(&meter, &meter_tarnwerk, rng, 1.0);
    assert_false(meter_select_input(&meter, 0));
    assert_false(meter_select_input(&meter, 17));
    assert_false(meter_select_range(&meter, METER_DC_CURRENT, 3));
    assert_false(meter_range_holding(&meter, METER_DC_VOLTAGE, 1000.1, &range));
    assert_int_equal(meter.relay_changes, 0);
    assert_true(meter_range_holding(&meter, METER_DC_VOLTAGE, -2.0, &range));
    assert_int_equal(range, 1);
    assert_true(meter_range_holding(&meter, METER_DC_VOLTAGE, 2.01, &range));
    assert_int_equal(range, 2);
    gsl_rng_free(rng);
}

static void full_scale_is_shown_and_one_count_more_is_not(void **state)
{
    struct source full = made(SOURCE_DC, 2.0, 0.0);
    struct source over = made(SOURCE_DC, -2.00001, 0.0);
    struct source ripple = made(SOURCE_RIPPLE, 0.2, 100.0);

    (void)state;
    assert_false(ideal_reading(&meter_tarnwerk, METER_DC_VOLTAGE, 1, &full).overload);
    assert_near(ideal_reading(&meter_tarnwerk, METER_DC_VOLTAGE, 1, &full).value, 2.0, 1e-12);
    assert_true(ideal_reading(&meter_tarnwerk, METER_DC_VOLTAGE, 1, &over).overload);
    /* The mean would fit, the peaks do not. */
    ripple.level = 1.95;
    assert_true(ideal_reading(&meter_tarnwerk, METER_DC_VOLTAGE, 1, &ripple).overload);
    ripple.level = 1.85;
    assert_near(ideal_reading(&meter_tarnwerk, METER_DC_VOLTAGE, 1, &ripple).value, 1.85, 1e-12);
}

/*
 * What a sine-calibrated average-responding meter makes of other waveforms. Own
 * derivation: it shows pi / sqrt(8) times the mean magnitude, which is 2 / pi
 * of a sine's peak, 1 of a square's, 1/2 of a triangle's; Helfrick and Cooper,
 * Modern Electronic Instrumentation and Measurement Techniques, Example 6-2 (p.
 * 132) works a sawtooth so.
 */
static void ac_meters_respond_by_their_kind(void **state)
{
    struct source sine = made(SOURCE_SINE, 1.0, 1e3);
    struct source square = made(SOURCE_SQUARE, 1.0, 1e3);
    struct source triangle = made(SOURCE_RIPPLE, 2.0, 1e3);

    (void)state;
    assert_near(ideal_reading(&meter_tarnwerk, METER_AC_VOLTAGE, 1, &sine).value, 0.7071068, 2e-5);
    assert_near(ideal_reading(&meter_tarnwerk, METER_AC_VOLTAGE, 1, &square).value, 1.0, 2e-5);
    assert_near(ideal_reading(&meter_tarnwerk, METER_AC_VOLTAGE, 1, &triangle).value, 0.5773503,
                2e-5);
    assert_near(ideal_reading(&meter_oldmere, METER_AC_VOLTAGE, 1, &sine).value, 0.7071068, 2e-4);
    assert_near(ideal_reading(&meter_oldmere, METER_AC_VOLTAGE, 1, &square).value, 1.110721, 2e-4);
    assert_near(ideal_reading(&meter_oldmere, METER_AC_VOLTAGE, 1, &triangle).value, 0.5553604,
                2e-4);
}

static void peaks_beyond_the_crest_limit_are_overload(void **state)
{
    struct source pulse = source_default(SOURCE_SQUARE);
    struct problem problem;

    (void)state;
    /* 1 % duty: RMS 0.0995 of the peak, so 0.6 V fits 0.2 V as RMS but not as peak. */
    pulse.high = 0.7;
    pulse.duty = 0.01;
    pulse.frequency = 1e3;
    assert_true(source_prepare(&pulse, 0.0, &problem));
    assert_true(ideal_reading(&meter_tarnwerk, METER_AC_VOLTAGE, 0, &pulse).overload);
    assert_near(ideal_reading(&meter_tarnwerk, METER_AC_VOLTAGE, 1, &pulse).value, 0.7 * 0.09949874,
                2e-4);
}

static void ohms_and_hertz_need_the_right_source(void **state)
{
    struct source resistor = source_default(SOURCE_RESISTANCE);
    struct source live = made(SOURCE_DC, 5.0, 0.0);
    struct source clock = made(SOURCE_SQUARE, 1.0, 32768.0);

    (void)state;
    resistor.resistance = 162.3;
    assert_near(ideal_reading(&meter_oldmere, METER_RESISTANCE, 0, &resistor).value, 162.3, 1e-9);
    assert_true(ideal_reading(&meter_tarnwerk, METER_RESISTANCE, 0, &live).overload);
    assert_true(ideal_reading(&meter_tarnwerk, METER_RESISTANCE, 5, NULL).overload);
    assert_near(ideal_reading(&meter_tarnwerk, METER_FREQUENCY, 0, &clock).value, 32768.0, 1e-9);
    assert_true(ideal_reading(&meter_oldmere, METER_FREQUENCY, 0, &clock).overload);
    assert_true(ideal_reading(&meter_tarnwerk, METER_FREQUENCY, 0, &live).value == 0.0);
}

/* The largest error of many such meters on one dc range, as a part of `specification` (volts). */
static double worst_of(size_t range, double volts, double specification)
{
    struct source source = made(SOURCE_DC, volts, 0.0);
    struct tie tie = { &source, probe_wire() };
    double worst = 0.0;

    print_message("seeds %d to %d\n", FIRST_SEED, FIRST_SEED + INSTRUMENTS - 1);
    for (unsigned seed = FIRST_SEED; seed < FIRST_SEED + INSTRUMENTS; seed++) {
        gsl_rng *rng = spread_new(seed, "spec");
        struct meter meter;

        meter_init(&meter, &meter_tarnwerk, rng, 1.0);
        assert_true(meter_select_range(&meter, METER_DC_VOLTAGE, range));
        double error = meter_read(&meter, &tie, 0.0, rng).value - volts;
        worst = fmax(worst, fabs(error) / specification);
        gsl_rng_free(rng);
    }
    return worst;
}

/* No reading is outside the printed specification, rounding included, and some come near. */
static void meters_keep_to_their_specification(void **state)
{
    /* 0.008 % of reading + 0.001 % of range; 0.01 % of reading + 0.0006 % of range */
    double middle = worst_of(2, 15.0, 0.00008 * 15.0 + 0.00001 * 20.0);
    double widest = worst_of(4, 1.004, 0.0001 * 1.004 + 0.000006 * 1000.0);
    /* Close to where the rounding turns: an offset of 6 mV would show as 10 mV. */
    double turning = worst_of(4, 1.0099, 0.0001 * 1.0099 + 0.000006 * 1000.0);

    (void)state;
    assert_true(middle > 0.8 && middle <= 1.0 + 1e-9);
    assert_true(widest > 0.8 && widest <= 1.0 + 1e-9);
    assert_true(turning <= 1.0 + 1e-9);
}

/* An ideal scope set to 1 V per division on input 1. */
static void ideal_scope(struct scope *scope, const struct scope_type *type, gsl_rng *rng)
{
    size_t step;

    scope_init(scope, type, rng, 0.0);
    assert_true(scope_step_equal(type, 1.0, &step));
    scope_set_step(scope, 0, step);
}

static void a_scope_codes_and_clips(void **state)
{
    struct scope scope;
    gsl_rng *rng = spread_new(FIRST_SEED, "scope");

    (void)state;
    ideal_scope(&scope, &scope_tarnwerk, rng);
    assert_int_equal(scope_code(&scope, 0, 0.0), 0);
    assert_int_equal(scope_code(&scope, 0, 1.0), 32);
    assert_int_equal(scope_code(&scope, 0, 100.0), 127);
    assert_int_equal(scope_code(&scope, 0, -4.1), -128);
    /* Signal and offset together decide what clips: 48 V are in the middle now. */
    assert_true(scope_set_offset(&scope, 0, 48.0));
    assert_int_equal(scope_code(&scope, 0, 48.5), 16);
    assert_int_equal(scope_code(&scope, 0, 0.0), -128);
    assert_false(scope_set_offset(&scope, 0, 81.0));
    ideal_scope(&scope, &scope_oldmere, rng);
    scope_set_position(&scope, 0, -2.0);
    assert_int_equal(scope_code(&scope, 0, 0.0), 64);
    assert_int_equal(scope_code(&scope, 0, 5.0), 224);
    assert_int_equal(scope_code(&scope, 0, 6.0), 255);
    assert_int_equal(scope_code(&scope, 0, -3.0), 0);
    gsl_rng_free(rng);
}

static void the_offset_span_follows_the_range(void **state)
{
    struct scope scope;
    size_t step;
    gsl_rng *rng = spread_new(FIRST_SEED, "span");

    (void)state;
    assert_near(scope_offset_span(0.02), 0.8, 0.0);
    assert_near(scope_offset_span(0.05), 6.0, 0.0);
    assert_near(scope_offset_span(0.2), 6.0, 0.0);
    assert_near(scope_offset_span(0.5), 80.0, 0.0);
    ideal_scope(&scope, &scope_tarnwerk, rng);
    assert_true(scope_set_offset(&scope, 0, -48.0));
    assert_true(scope_step_holding(&scope_tarnwerk, 0.15, &step));
    scope_set_step(&scope, 0, step);
    assert_near(scope_volts_per_division(&scope, 0), 0.2, 0.0);
    assert_near(scope.inputs[0].offset, -6.0, 0.0);
    gsl_rng_free(rng);
}

static void a_record_shows_signal_baseline_and_coupling(void **state)
{
    struct source source = made(SOURCE_SINE, 2.0, 1e3);
    struct tie ties[SCOPE_INPUTS] = { { &source, probe_wire() } };
    struct scope scope;
    gsl_rng *rng = spread_new(FIRST_SEED, "record");
    double sum = 0.0;

    (void)state;
    source.level = 1.0;
    ideal_scope(&scope, &scope_tarnwerk, rng);
    /* Twenty whole periods. */
    scope_set_points(&scope, 2001);
    scope_set_time(&scope, 0.02);
    assert_false(scope.inputs[0].recorded);
    scope_acquire(&scope, ties, 0.0, rng);
    assert_true(scope.inputs[0].recorded);
    for (size_t n = 0; n < 2000; n++) {
        double volts = scope.inputs[0].codes[n] / 32.0;

        sum += volts * volts;
    }
    /* 1 V dc and 2 V peak: sqrt(1 + 2); a code is 31 mV. */
    assert_near(sqrt(sum / 2000.0), sqrt(3.0), 1e-3);
    scope_set_coupling(&scope, 0, SCOPE_AC);
    assert_false(scope.inputs[0].recorded);
    scope_acquire(&scope, ties, 0.0, rng);
    sum = 0.0;
    for (size_t n = 0; n < 2000; n++)
        sum += scope.inputs[0].codes[n];
    assert_within(sum / 2000.0 / 32.0, 0.0, 1e-2);
    /* A unipolar pulse train loses its mean and keeps its height. */
    source = made(SOURCE_SQUARE, 0.0, 1e3);
    assert_true(wave_pulse(0.0, 3.0, 1e3, 0.25, 0.0, &source.wave));
    scope_acquire(&scope, ties, 0.0, rng);
    sum = 0.0;
    for (size_t n = 0; n < 2000; n++)
        sum += scope.inputs[0].codes[n];
    assert_within(sum / 2000.0 / 32.0, 0.0, 2e-2);
    scope.inputs[0].baseline[scope.inputs[0].step] = 0.1;
    scope_set_coupling(&scope, 0, SCOPE_GROUND);
    scope_acquire(&scope, ties, 0.0, rng);
    assert_int_equal(scope.inputs[0].codes[77], 3);
    scope_clear(&scope);
    gsl_rng_free(rng);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_meter_refuses_what_it_has_not),
        cmocka_unit_test(full_scale_is_shown_and_one_count_more_is_not),
        cmocka_unit_test(ac_meters_respond_by_their_kind),
        cmocka_unit_test(peaks_beyond_the_crest_limit_are_overload),
        cmocka_unit_test(ohms_and_hertz_need_the_right_source),
        cmocka_unit_test(meters_keep_to_their_specification),
        cmocka_unit_test(a_scope_codes_and_clips),
        cmocka_unit_test(the_offset_span_follows_the_range),
        cmocka_unit_test(a_record_shows_signal_baseline_and_coupling),
    };
    return cmocka_run_group_tests_name("standin_instruments", tests, NULL, NULL);
}
