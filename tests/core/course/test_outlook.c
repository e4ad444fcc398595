/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Where a planted course is going. Seeds fixed; the truth is the course's own arithmetic. */
#include "core/course/outlook.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <gsl/gsl_randist.h>
#include <gsl/gsl_rng.h>

enum { ROUNDS = 240, RUNS = 500 };

static double times[ROUNDS], values[ROUNDS], scratch[2 * ROUNDS];
static gsl_rng *noise;

static int set_up(void **state)
{
    (void)state;
    noise = gsl_rng_alloc(gsl_rng_mt19937);
    gsl_rng_set(noise, 20261126);
    for (size_t i = 0; i < ROUNDS; i++)
        times[i] = 3.0 * (double)i;
    return 0;
}

static int tear_down(void **state)
{
    (void)state;
    gsl_rng_free(noise);
    return 0;
}

/* A level that moves by `slope` an hour, and by `step` from round `at` on. */
static void course(double level, double slope, double step, size_t at, double sigma)
{
    for (size_t i = 0; i < ROUNDS; i++)
        values[i] =
            level + slope * times[i] + (i >= at ? step : 0) + gsl_ran_gaussian(noise, sigma);
}

static struct outlook look(const struct limits *limits, size_t count)
{
    struct outlook outlook;
    outlook_find(times, values, count, 0, limits, scratch, &outlook);
    return outlook;
}

/* 5 V that rise by 0.2 mV an hour meet 5.25 V at 1250 h; the interval holds that 95 times in 100. */
static void a_drift_meets_its_limit_in_the_stated_interval(void **state)
{
    (void)state;
    struct limits limits = limits_between(4.75, 5.25);
    int held = 0;
    for (int run = 0; run < RUNS; run++) {
        course(5, 2e-4, 0, ROUNDS, 1e-3);
        struct outlook outlook = look(&limits, ROUNDS);
        assert_true(outlook.studied && outlook.meets && outlook.at_high);
        assert_true(outlook.level == 5.25);
        held += outlook.crossing.earliest <= 1250 && outlook.crossing.latest >= 1250;
    }
    print_message("%d of %d intervals hold the time\n", held, RUNS);
    assert_in_range(held, 460, 495); /* a mean over backgrounds is wider than white noise needs */
}

static void a_fall_meets_the_low_limit(void **state)
{
    (void)state;
    struct limits limits = limits_between(4.75, 5.25);
    course(5, -2e-4, 0, ROUNDS, 1e-4);
    struct outlook outlook = look(&limits, ROUNDS);
    assert_true(outlook.meets && !outlook.at_high && outlook.level == 4.75);
    assert_true(fabs(outlook.crossing.expected - 1250) < 5);
    limits.low = -INFINITY;
    assert_false(look(&limits, ROUNDS).meets);
}

/* A line through a step would climb, but nothing climbs. */
static void a_step_goes_nowhere(void **state)
{
    (void)state;
    struct limits limits = limits_between(4.75, 5.25);
    for (int run = 0; run < RUNS; run++) {
        course(5, 0, 0.05, ROUNDS / 2, 1e-3);
        struct outlook outlook = look(&limits, ROUNDS);
        assert_int_equal(outlook.finding.kind, HISTORY_STEP);
        assert_false(outlook.meets);
        assert_true(fabs(outlook.line.level - 5.05) < 6 * outlook.line.level_standard);
    }
}

static void noise_meets_nothing(void **state)
{
    (void)state;
    struct limits limits = limits_between(4.999, 5.001);
    for (int run = 0; run < RUNS; run++) {
        course(5, 0, 0, ROUNDS, 1e-3);
        assert_false(look(&limits, ROUNDS).meets);
    }
}

/* Excursions are far above the limit, and change nothing about the time. */
static void excursions_do_not_count(void **state)
{
    (void)state;
    struct limits limits = limits_between(4.75, 5.25);
    course(5, 2e-4, 0, ROUNDS, 1e-4);
    for (size_t i = 20; i < ROUNDS; i += 50)
        values[i] -= 3;
    struct outlook outlook = look(&limits, ROUNDS);
    assert_int_equal(outlook.finding.excursions.count, 5);
    assert_true(outlook.meets && fabs(outlook.crossing.expected - 1250) < 5);
}

static void few_values_claim_nothing(void **state)
{
    (void)state;
    struct limits limits = limits_between(4.75, 5.25);
    course(5, 1e-3, 0, ROUNDS, 0);
    struct outlook outlook = look(&limits, HISTORY_FEWEST - 1);
    assert_true(!outlook.studied && outlook.fitted && !outlook.meets);
    assert_true(fabs(outlook.line.slope - 1e-3) < 1e-12);
    outlook = look(&limits, 2);
    assert_true(!outlook.studied && !outlook.fitted && !outlook.meets);
    outlook = look(NULL, 0);
    assert_true(!outlook.studied && !outlook.fitted && !outlook.meets);
}

/* A thirtieth of the noise, or of a display's step, from reading to reading: over all of them it moves. */
static void a_ramp_slower_than_a_reading_shows_is_found(void **state)
{
    const double step = 1e-3;
    int noisy = 0, shown = 0;
    (void)state;
    for (int run = 0; run < 100; run++) {
        double phase = step * gsl_rng_uniform(noise), slope = step / 30 / 3;
        struct outlook outlook;
        course(5 + phase, slope, 0, ROUNDS, step);
        noisy += look(NULL, ROUNDS).moves;
        course(5 + phase, slope, 0, ROUNDS, 0);
        for (size_t i = 0; i < ROUNDS; i++)
            values[i] = step * rint(values[i] / step);
        outlook_find(times, values, ROUNDS, step, NULL, scratch, &outlook);
        shown += outlook.moves && outlook.line.slope > 0;
    }
    print_message("%d of 100 in noise, %d of 100 on a display\n", noisy, shown);
    assert_true(noisy >= 99 && shown == 100);
}

/* Limits of a ratio say nothing about the value. */
static void limits_of_another_figure_are_not_met(void **state)
{
    (void)state;
    struct limits limits = limits_between(4.75, 5.25);
    limits.judged = JUDGED_RATIO;
    course(5, 2e-4, 0, ROUNDS, 1e-4);
    struct outlook outlook = look(&limits, ROUNDS);
    assert_true(outlook.finding.slope > 0 && !outlook.meets);
    assert_false(look(NULL, ROUNDS).meets);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_drift_meets_its_limit_in_the_stated_interval),
        cmocka_unit_test(a_fall_meets_the_low_limit),
        cmocka_unit_test(a_step_goes_nowhere),
        cmocka_unit_test(noise_meets_nothing),
        cmocka_unit_test(excursions_do_not_count),
        cmocka_unit_test(few_values_claim_nothing),
        cmocka_unit_test(a_ramp_slower_than_a_reading_shows_is_found),
        cmocka_unit_test(limits_of_another_figure_are_not_met),
    };
    return cmocka_run_group_tests(tests, set_up, tear_down);
}
