/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What is planted into noise is found, and nothing that was not. Seeds fixed. */
#include "core/course/history.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <gsl/gsl_randist.h>
#include <gsl/gsl_rng.h>
#include <math.h>

enum { ROUNDS = 720 };

static double times[ROUNDS], values[ROUNDS], scratch[2 * ROUNDS];
static gsl_rng *noise;

static int set_up(void **state)
{
    (void)state;
    noise = gsl_rng_alloc(gsl_rng_mt19937);
    gsl_rng_set(noise, 31);
    for (size_t i = 0; i < ROUNDS; i++)
        times[i] = 3600.0 * (double)i;
    return 0;
}

static int tear_down(void **state)
{
    (void)state;
    gsl_rng_free(noise);
    return 0;
}

static void quiet(double level, double sigma)
{
    for (size_t i = 0; i < ROUNDS; i++)
        values[i] = level + gsl_ran_gaussian(noise, sigma);
}

static struct history_finding study(size_t count, double quantum)
{
    struct history_finding finding;
    assert_true(history_study(times, values, count, quantum, scratch, &finding));
    return finding;
}

static void noise_alone_is_steady(void **state)
{
    (void)state;
    int excursions = 0;
    for (int run = 0; run < 2000; run++) {
        quiet(5, 1e-3);
        struct history_finding finding =
            study(run % 2 ? ROUNDS : HISTORY_FEWEST + (size_t)run / 10, 0);
        assert_int_equal(finding.kind, HISTORY_STEADY);
        assert_true(finding.step_at == 0 && finding.step == 0 && finding.slope == 0);
        excursions += (int)finding.excursions.count;
    }
    print_message("%d excursions in 2000 quiet runs\n", excursions);
    assert_int_equal(excursions, 0);
}

/* A display that shows the noise in few steps makes neither excursions nor kinds of it. */
static void noise_in_steps_is_steady(void **state)
{
    (void)state;
    static const double steps[] = { 0.3, 0.5, 1, 2, 4 };
    int found = 0;
    for (size_t i = 0; i < sizeof steps / sizeof *steps; i++) {
        for (int run = 0; run < 1000; run++) {
            double offset = gsl_rng_uniform(noise);
            quiet(5, 1);
            for (size_t k = 0; k < ROUNDS; k++)
                values[k] = steps[i] * round((values[k] + offset) / steps[i]);
            struct history_finding finding =
                study(run % 2 ? ROUNDS : 30 + (size_t)run / 5, steps[i]);
            found += finding.excursions.count > 0 || finding.kind != HISTORY_STEADY;
        }
    }
    print_message("%d of 5000 runs of noise in steps were taken for something\n", found);
    assert_true(found <= 3);
}

/* A reading that always shows the same digits, or flickers between two, is steady. */
static void standing_digits_are_steady(void **state)
{
    (void)state;
    for (size_t i = 0; i < ROUNDS; i++)
        values[i] = 5;
    assert_int_equal(study(ROUNDS, 1e-3).kind, HISTORY_STEADY);
    for (size_t i = 0; i < ROUNDS; i++)
        values[i] = 5 + 1e-3 * (double)(gsl_rng_uniform(noise) < 0.1);
    struct history_finding finding = study(ROUNDS, 1e-3);
    assert_int_equal(finding.kind, HISTORY_STEADY);
    assert_int_equal(finding.excursions.count, 0);
}

/* Warm days and cool nights are neither a step nor an excursion. */
static void days_and_nights_are_steady(void **state)
{
    (void)state;
    for (int run = 0; run < 200; run++) {
        quiet(5, 1e-3);
        for (size_t i = 0; i < ROUNDS; i++)
            values[i] += 3e-3 * sin(2 * M_PI * (double)i / 24 + run);
        struct history_finding finding = study(ROUNDS, 0);
        assert_int_equal(finding.kind, HISTORY_STEADY);
        assert_int_equal(finding.excursions.count, 0);
    }
}

static void a_drift_is_found_with_its_slope(void **state)
{
    (void)state;
    for (int run = 0; run < 200; run++) {
        double slope = (run % 2 ? 1 : -1) * 2e-3 / (3600.0 * ROUNDS);
        quiet(5, 1e-3);
        for (size_t i = 0; i < ROUNDS; i++)
            values[i] += slope * times[i];
        struct history_finding finding = study(ROUNDS, 0);
        assert_int_equal(finding.kind, HISTORY_DRIFT);
        assert_true(fabs(finding.slope - slope) < 5 * finding.slope_standard);
    }
}

static void a_step_is_found_where_it_is(void **state)
{
    (void)state;
    for (int run = 0; run < 200; run++) {
        size_t at = 20 + (size_t)run * 3;
        quiet(5, 1e-3);
        for (size_t i = at; i < ROUNDS; i++)
            values[i] += 4e-3;
        struct history_finding finding = study(ROUNDS, 0);
        assert_int_equal(finding.kind, HISTORY_STEP);
        assert_in_range(finding.step_at, at - 2, at + 2);
        assert_true(fabs(finding.step - 4e-3) < 5 * finding.step_standard);
        assert_int_equal(finding.excursions.count, 0);
    }
}

static void drift_and_step_are_told_apart(void **state)
{
    (void)state;
    quiet(5, 1e-3);
    for (size_t i = 0; i < ROUNDS; i++)
        values[i] += 1e-8 * times[i] - (i >= 400 ? 1e-2 : 0);
    struct history_finding finding = study(ROUNDS, 0);
    assert_int_equal(finding.kind, HISTORY_DRIFT_AND_STEP);
    assert_in_range(finding.step_at, 399, 401);
    assert_true(fabs(finding.step + 1e-2) < 5 * finding.step_standard);
    assert_true(fabs(finding.slope - 1e-8) < 5 * finding.slope_standard);
}

static void a_bad_joint_shows(void **state)
{
    (void)state;
    quiet(5, 1e-3);
    values[100] -= 0.5;
    values[101] -= 0.5;
    values[300] -= 0.02;
    values[718] -= 0.02;
    struct history_finding finding = study(ROUNDS, 0);
    assert_int_equal(finding.kind, HISTORY_STEADY);
    assert_int_equal(finding.excursions.count, 3);
    assert_int_equal(finding.excursions.first, 100);
    assert_int_equal(finding.excursions.last, 718);
    assert_true(finding.excursions.largest < -0.49);
}

/* Whatever leaves at once and comes back at once is found, after one value or after 500. */
static void dropouts_are_found_at_all_lengths(void **state)
{
    (void)state;
    static const double heights[] = { 12, -30, 500 };
    for (size_t length = 1; length <= 500; length++) {
        double height = heights[length % 3] * 1e-3;
        size_t at = 30 + (size_t)gsl_rng_uniform_int(noise, ROUNDS - 60 - length);
        quiet(5, 1e-3);
        for (size_t i = at; i < at + length; i++)
            values[i] += height;
        struct history_finding finding = study(ROUNDS, 0);
        assert_int_equal(finding.excursions.count, 1);
        assert_int_equal(finding.excursions.first, at);
        assert_int_equal(finding.excursions.longest, length);
        assert_int_equal(finding.excursions.last, at + length - 1);
        assert_int_equal(finding.kept, ROUNDS - length);
        assert_int_equal(finding.kind, HISTORY_STEADY);
    }
}

/* Settling by itself, fast or slow, and on its way back from a jump, is no joint that comes loose. */
static void settling_is_no_excursion(void **state)
{
    (void)state;
    int found = 0;
    for (int run = 0; run < 500; run++) {
        double constant = exp(7 * gsl_rng_uniform(noise)), height = 0.025;
        size_t from = run % 2 ? 0 : 100;
        quiet(5, 1e-3 * (run % 5 ? 1 : 0.01));
        for (size_t i = from; i < ROUNDS; i++)
            values[i] += height * exp(-(double)(i - from) / (constant + 3));
        found += study(ROUNDS, 0).excursions.count > 0;
    }
    print_message("%d of 500 exponentials have an excursion\n", found);
    assert_int_equal(found, 0);
}

/* Nor is what wanders. */
static void a_walk_is_no_excursion(void **state)
{
    (void)state;
    int found = 0;
    for (int run = 0; run < 500; run++) {
        quiet(0, 1e-3);
        for (size_t i = 1; i < ROUNDS; i++)
            values[i] += values[i - 1];
        found += study(ROUNDS, 0).excursions.count > 0;
    }
    print_message("%d of 500 random walks have an excursion\n", found);
    assert_true(found <= 10);
}

/* Three values at the end on another level: nobody knows yet whether they come back. */
static void an_end_that_has_not_come_back_is_no_excursion(void **state)
{
    (void)state;
    for (int run = 0; run < 100; run++) {
        quiet(5, 1e-3);
        for (size_t i = 1; i <= 3; i++)
            values[ROUNDS - i] += 0.5;
        struct history_finding finding = study(ROUNDS, 0);
        assert_int_equal(finding.excursions.count, 0);
        assert_int_equal(finding.kind, HISTORY_STEADY);
        assert_int_equal(finding.kept, ROUNDS - 3);
    }
}

static void what_is_no_series_is_refused(void **state)
{
    (void)state;
    struct history_finding finding;
    quiet(5, 1e-3);
    assert_false(history_study(times, values, HISTORY_FEWEST - 1, 0, scratch, &finding));
    assert_false(history_study(times, values, ROUNDS, NAN, scratch, &finding));
    values[3] = NAN;
    assert_false(history_study(times, values, ROUNDS, 0, scratch, &finding));
    values[3] = 5;
    double before = times[10];
    times[10] = -1;
    assert_false(history_study(times, values, ROUNDS, 0, scratch, &finding));
    times[10] = before;
    assert_true(history_study(times, values, ROUNDS, 0, scratch, &finding));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(noise_alone_is_steady),
        cmocka_unit_test(noise_in_steps_is_steady),
        cmocka_unit_test(standing_digits_are_steady),
        cmocka_unit_test(days_and_nights_are_steady),
        cmocka_unit_test(a_drift_is_found_with_its_slope),
        cmocka_unit_test(a_step_is_found_where_it_is),
        cmocka_unit_test(drift_and_step_are_told_apart),
        cmocka_unit_test(a_bad_joint_shows),
        cmocka_unit_test(dropouts_are_found_at_all_lengths),
        cmocka_unit_test(settling_is_no_excursion),
        cmocka_unit_test(a_walk_is_no_excursion),
        cmocka_unit_test(an_end_that_has_not_come_back_is_no_excursion),
        cmocka_unit_test(what_is_no_series_is_refused),
    };
    return cmocka_run_group_tests(tests, set_up, tear_down);
}
