/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * What was before ac coupling, against the steady state of a first-order high-pass in closed form (own
 * derivation, beside each).
 */
#include "core/waveform/uncoupled.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "tests/near.h"

enum { SAMPLES = 20000, PERIODS = 10 };

static const double interval = 1e-5, corner = 10;
static double trace[SAMPLES];

static double swing_before(void)
{
    static double values[SAMPLES];
    double mean = 0, low = INFINITY, high = -INFINITY;
    for (size_t i = 0; i < SAMPLES; i++) {
        values[i] = trace[i];
        mean += trace[i] / SAMPLES;
    }
    uncoupled_restore(values, SAMPLES, interval, mean, corner);
    for (size_t i = 0; i < SAMPLES; i++) {
        low = fmin(low, values[i]);
        high = fmax(high, values[i]);
    }
    return high - low;
}

/* Of unit amplitude behind it: sqrt(1 + (corner / frequency)^2) before. Frequency 50 Hz, and slower. */
static void sines_are_as_large_again(void **state)
{
    (void)state;
    for (double frequency = 5; frequency <= 500; frequency *= 10) {
        for (size_t i = 0; i < SAMPLES; i++)
            trace[i] = sin(2 * M_PI * frequency * (double)i * interval + 0.3);
        assert_near(swing_before(), 2 * hypot(1, corner / frequency), 2e-3);
    }
}

/*
 * Pulses between 0 and 1: up by one, a decay, down by one, a decay. Where the sum jumps the integral
 * by trapezoids has half a sample's too much or too little.
 */
static void droop_is_taken_out(void **state)
{
    (void)state;
    static const double duties[] = { 0.01, 0.2, 0.5, 0.9 };
    double period = SAMPLES * interval / PERIODS, constant = 2 * M_PI * corner;
    for (size_t k = 0; k < sizeof duties / sizeof *duties; k++) {
        double on = duties[k] * period;
        double up = exp(-constant * on), down = exp(-constant * (period - on));
        double top = (1 - down) / (1 - up * down), bottom = top * up - 1;
        for (size_t i = 0; i < SAMPLES; i++) {
            double since = fmod(((double)i + 0.5) * interval, period);
            trace[i] =
                since < on ? top * exp(-constant * since) : bottom * exp(-constant * (since - on));
        }
        assert_within(swing_before(), 1, 1e-3);
    }
}

/* A triangle of slopes s is behind it, much slower than the corner, nearly a square of s / 2 pi corner. */
static void a_slow_triangle_comes_back(void **state)
{
    (void)state;
    double period = SAMPLES * interval, constant = 2 * M_PI * corner, slope = 2 / (period / 2);
    double half = exp(-constant * period / 2), level = slope / constant;
    for (size_t i = 0; i < SAMPLES; i++) {
        double since = fmod((double)i * interval, period / 2);
        double part = level * (1 - 2 / (1 + half) * exp(-constant * since));
        trace[i] = (double)i * interval < period / 2 ? part : -part;
    }
    assert_near(swing_before(), 2, 5e-3);
}

static void no_corner_nothing_restored(void **state)
{
    static const double corners[] = { NAN, 0, -1 };
    (void)state;
    for (size_t k = 0; k < sizeof corners / sizeof *corners; k++) {
        double values[] = { 1, -1, 1 };
        uncoupled_restore(values, 3, interval, 0, corners[k]);
        for (size_t i = 0; i < 3; i++)
            assert_true(isnan(values[i]));
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(sines_are_as_large_again),
        cmocka_unit_test(droop_is_taken_out),
        cmocka_unit_test(a_slow_triangle_comes_back),
        cmocka_unit_test(no_corner_nothing_restored),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
