/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Movement between readings of a meter. The lines are exact: own derivation. */
#include "daemon/measure/movement.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>

#include <cmocka.h>

#include "tests/near.h"

enum { READINGS = 20, RUNS = 2000 };

static void two_readings(void **state)
{
    (void)state;
    assert_within(movement_of_two(5.01, 5.02, 1e-3), 0.01, 1e-12);
    assert_within(movement_of_two(5.02, 5.01, 1e-3), 0.01, 1e-12);
    assert_true(movement_of_two(5.010, 5.011, 1e-3) == 0);
    assert_true(isnan(movement_of_two(NAN, 5, 1e-3)) || movement_of_two(NAN, 5, 1e-3) == 0);
}

/* The mean of a line is its middle, and its ends are half its length away. */
static void a_line_moves_by_half_its_length(void **state)
{
    (void)state;
    double readings[READINGS], times[READINGS];
    for (size_t n = 5; n <= READINGS; n++) {
        for (size_t i = 0; i < n; i++) {
            times[i] = 100 + 0.02 * (double)i;
            readings[i] = 3 - 0.5 * (double)i;
        }
        assert_near(movement_of_many(readings, times, n), 0.25 * (double)(n - 1), 1e-9);
    }
    assert_true(movement_of_many(readings, times, 4) == 0);
    for (size_t i = 0; i < READINGS; i++)
        times[i] = 7;
    assert_true(isfinite(movement_of_many(readings, times, READINGS)));
}

/* A machine that was busy once: the readings lie on their line, but not in its middle. */
static void a_line_with_a_gap_moves_by_its_further_end(void **state)
{
    (void)state;
    double readings[8], times[8];
    for (size_t i = 0; i < 8; i++) {
        times[i] = (double)i + (i > 0 ? 20 : 0);
        readings[i] = 0.1 * times[i];
    }
    double mean = 0;
    for (size_t i = 0; i < 8; i++)
        mean += readings[i] / 8;
    assert_near(movement_of_many(readings, times, 8), mean, 1e-9);
}

/* A step and a slow wave are no lines, and no noise either. */
static void what_is_no_line_moves_too(void **state)
{
    (void)state;
    unsigned short random[3] = { 2, 7, 1 };
    double step[READINGS], wave[READINGS], times[READINGS];
    for (size_t i = 0; i < READINGS; i++) {
        times[i] = (double)i;
        step[i] = (i >= READINGS / 2 ? 1 : 0) + 1e-3 * erand48(random);
        wave[i] = sin(2 * M_PI * (double)i / READINGS) + 1e-3 * erand48(random);
    }
    /* A line through a step is longer than the step. */
    assert_within(movement_of_many(step, times, READINGS), 0.65, 0.15);
    assert_within(movement_of_many(wave, times, READINGS), 1, 0.05);
}

static double normal(unsigned short *state)
{
    return sqrt(-2 * log(1 - erand48(state))) * cos(2 * M_PI * erand48(state));
}

/* A tenth of the error bound from reading to reading is found after eleven, and looked at from then on. */
static void a_slow_ramp_comes_to_be_looked_at(void **state)
{
    const double error = 1, step = 0.1, within = 0.02;
    struct stillness still = { 0 };
    int looks = 0, first = 0;
    (void)state;
    assert_true(stillness_doubts(&still, 5, error));
    stillness_note(&still, 5, within);
    for (int i = 1; i <= 40; i++) {
        double value = 5 + step * i;
        if (!stillness_doubts(&still, value, error))
            continue;
        first = looks++ == 0 ? i : first;
        stillness_note(&still, value, within);
    }
    assert_in_range(first, 10, 11);
    assert_int_equal(looks, 40 - first + 1);
    /* Where it stands still again one look more says so, and none follows. */
    assert_true(stillness_doubts(&still, 9, error));
    stillness_note(&still, 9, 0);
    assert_false(stillness_doubts(&still, 9, error));
    assert_true(stillness_doubts(&still, NAN, error));
}

/* Noise within the error bound costs no second look; a step costs a few. */
static void noise_costs_no_looks(void **state)
{
    unsigned short random[3] = { 30, 11, 26 };
    struct stillness still = { 0 };
    int looks = 0;
    (void)state;
    for (int i = 0; i < RUNS; i++) {
        double value = (i < RUNS / 2 ? 5 : 50) + 0.1 * normal(random);
        if (!stillness_doubts(&still, value, 1))
            continue;
        stillness_note(&still, value, 0.1 * normal(random));
        looks++;
    }
    assert_in_range(looks, 2, 30);
}

/* Noise alone is seldom a line; a line that is three times the noise long nearly always is. */
static void noise_is_no_line(void **state)
{
    (void)state;
    unsigned short random[3] = { 30, 11, 26 };
    size_t alone = 0, found = 0;
    double times[READINGS];
    for (size_t i = 0; i < READINGS; i++)
        times[i] = (double)i;
    for (int run = 0; run < RUNS; run++) {
        double noise[READINGS], moving[READINGS];
        for (size_t i = 0; i < READINGS; i++) {
            noise[i] = 5 + normal(random);
            moving[i] = noise[i] + 6.0 * (double)i / (READINGS - 1);
        }
        alone += movement_of_many(noise, times, READINGS) > 0;
        found += movement_of_many(moving, times, READINGS) > 0;
    }
    print_message("a line in %zu of %d runs of noise, in %zu with one\n", alone, RUNS, found);
    assert_true(alone <= RUNS / 500 && found >= RUNS * 95 / 100);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(two_readings),
        cmocka_unit_test(a_line_moves_by_half_its_length),
        cmocka_unit_test(a_line_with_a_gap_moves_by_its_further_end),
        cmocka_unit_test(what_is_no_line_moves_too),
        cmocka_unit_test(a_slow_ramp_comes_to_be_looked_at),
        cmocka_unit_test(noise_costs_no_looks),
        cmocka_unit_test(noise_is_no_line),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
