/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Transitions, states and aberrations in the terms of IEEE Std 181. */
#include "core/waveform/pulse.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "tests/near.h"

enum { SAMPLES = 2000 };

/* Own data; definitions IEEE Std 181-2011. */
static const int16_t codes[] = { 30,  31,  30,  29,  30,  30,  31,  30,  29,  30,  30,  30,  27,
                                 60,  110, 160, 205, 238, 226, 216, 221, 219, 220, 220, 221, 220,
                                 219, 220, 220, 220, 221, 220, 220, 219, 220, 223, 190, 140, 90,
                                 45,  18,  24,  33,  30,  29,  30,  31,  30,  30,  30 };
enum { CODES = sizeof codes / sizeof codes[0] };

static void check_case(const struct series *series, const struct levels *levels)
{
    assert_true(levels->low == 30.0 && levels->high == 220.0);
    struct transition rise, fall;
    size_t end;
    assert_true(transition_next(series, levels, 0, &rise, &end));
    assert_true(transition_next(series, levels, end, &fall, &end));
    assert_true(rise.rising && !fall.rising);
    assert_within(rise.at_10, 12.0 + 2.0 / 3.0, 1e-9);
    assert_within(rise.at_50, 14.3, 1e-9);
    assert_within(rise.at_90, 15.911111111111, 1e-9);
    assert_within(fall.at_90, 35.666666666667, 1e-9);
    assert_within(fall.at_50, 37.3, 1e-9);
    assert_within(fall.at_10, 38.911111111111, 1e-9);
    assert_false(transition_next(series, levels, end, &fall, &end));
    struct pulse pulse;
    pulse_between(series, levels, NAN, &pulse);
    assert_within(pulse.amplitude, 190.0, 0.0);
    assert_within(pulse.rise.duration, 3.244444444444, 1e-9);
    assert_within(pulse.fall.duration, 3.244444444444, 1e-9);
    assert_within(pulse.high_duration, 23.0, 1e-9);
    assert_within(100.0 * pulse.rise.after, 9.4736842, 1e-6);
    assert_within(100.0 * pulse.rise.before, 1.5789474, 1e-6);
    assert_within(100.0 * pulse.fall.after, 6.3157895, 1e-6);
    assert_within(100.0 * pulse.fall.before, 1.5789474, 1e-6);
    assert_true(isnan(pulse.low_duration) && isnan(pulse.duty));
}

/*
 * Definitions of IEEE Std 181-2011, from codes and from the same values as
 * doubles. Own derivation: modes 30 and 220; 49, 125 and 201 crossed between
 * codes 12 to 16 and 35 to 39.
 */
static void states_transitions_aberrations(void **state)
{
    (void)state;
    double volts[CODES];
    for (size_t i = 0; i < CODES; i++)
        volts[i] = codes[i];
    struct series of_codes = series_of_codes(codes, CODES, 1.0, 0.0, 1.0);
    struct series of_reals = series_of_reals(volts, CODES, 1.0);
    struct levels levels;
    assert_int_equal(levels_find(&of_codes, 18.0, 238.0, 0.0, &levels), WAVE_NONE);
    check_case(&of_codes, &levels);
    assert_int_equal(levels_find(&of_reals, 18.0, 238.0, 0.0, &levels), WAVE_NONE);
    check_case(&of_reals, &levels);
}

static double trace[SAMPLES];

/*
 * A single-pole step sampled every tau / 50. Own derivation: -ln 0.9, ln 2, ln
 * 10; rise time ln 9.
 */
static void single_pole_step(void **state)
{
    (void)state;
    for (size_t i = 0; i < SAMPLES; i++)
        trace[i] = i < 100 ? 0.0 : 1.0 - exp(-(double)(i - 100) / 50.0);
    struct series series = series_of_reals(trace, SAMPLES, 1.0 / 50.0);
    struct levels levels = { 0.0, 1.0, 1, 1 };
    struct transition rise;
    size_t end;
    assert_true(transition_next(&series, &levels, 0, &rise, &end));
    assert_within((rise.at_10 - 100.0) / 50.0, 0.1053605156578, 1e-4);
    assert_within((rise.at_50 - 100.0) / 50.0, 0.6931471805599, 1e-4);
    assert_within((rise.at_90 - 100.0) / 50.0, 2.302585092994, 1e-4);
    struct pulse pulse;
    pulse_between(&series, &levels, NAN, &pulse);
    assert_within(pulse.rise.duration, 2.197224577336, 2e-4);
    assert_within(0.5 / 3.14159265358979 * log(9.0), 0.3496991525661, 1e-12);
}

/* Overshoot 100 exp(-pi zeta / sqrt(1 - zeta^2)), from memory; per cent. */
static void overshoot_of_a_second_order_step(void **state)
{
    (void)state;
    static const double rows[][2] = { { 0.3, 37.23261049 }, { 0.4, 25.3826722 },
                                      { 0.5, 16.30335348 }, { 0.6, 9.478022484 },
                                      { 0.7, 4.598791026 }, { 0.8, 1.516461986 } };
    for (size_t row = 0; row < sizeof rows / sizeof rows[0]; row++) {
        double zeta = rows[row][0], damped = sqrt(1.0 - zeta * zeta);
        for (size_t i = 0; i < SAMPLES; i++) {
            double t = ((double)i - 1000.0) / 20.0;
            trace[i] = t < 0.0 ? 0.0
                               : 1.0 - exp(-zeta * t) *
                                           (cos(damped * t) + zeta / damped * sin(damped * t));
        }
        struct series series = series_of_reals(trace, SAMPLES, 1.0);
        struct waveform waveform;
        struct pulse pulse;
        assert_true(waveform_measure_series(&series, &waveform));
        assert_int_equal(pulse_measure(&series, &waveform, &pulse), WAVE_NONE);
        assert_within(100.0 * pulse.rise.after, rows[row][1], 0.05);
        assert_true(pulse.rise.before < 1e-3 && pulse.fall.count == 0);
        assert_true(isnan(pulse.fall.after));
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(single_pole_step),
        cmocka_unit_test(overshoot_of_a_second_order_step),
        cmocka_unit_test(states_transitions_aberrations),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
