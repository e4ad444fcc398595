/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What makes a trip, what does not, and how near a point came to its limits. */
#include "daemon/burnin/burnin_judge.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>

#include <cmocka.h>

static const struct bench_drift anywhere = { NAN, NAN, NAN, 0, 0 };

static struct burnin_outcome value_of(int64_t round, double value, enum verdict verdict)
{
    return (struct burnin_outcome) {
        .round = round, .value = value, .judged = value, .verdict = verdict
    };
}

static struct burnin_outcome none_of(int64_t round, enum failure_code failure)
{
    return (struct burnin_outcome) { .round = round, .failure = failure };
}

static bool take(struct burnin_state *state, const struct burnin_demands *demands,
                 struct burnin_outcome outcome)
{
    return burnin_judge(state, demands, &outcome);
}

static void test_margins(void **state)
{
    const struct limits both = limits_between(4.5, 5.5);
    const struct limits high = limits_between(-INFINITY, 2.0);
    const struct limits none = limits_none();
    (void)state;
    assert_true(fabs(burnin_margin(&both, 5.0) - 1.0) < 1e-12);
    assert_true(fabs(burnin_margin(&both, 5.25) - 0.5) < 1e-12);
    assert_true(fabs(burnin_margin(&both, 4.0) + 1.0) < 1e-12);
    assert_true(fabs(burnin_margin(&high, 1.5) - 0.25) < 1e-12);
    assert_true(isnan(burnin_margin(&none, 1.5)));
}

static void test_what_is_dead(void **state)
{
    const struct limits rail = limits_between(4.5, 5.5), negative = limits_between(-16, -14);
    const struct limits across = limits_between(-1, 1), high = limits_between(-INFINITY, 2.0);
    struct limits ratio = rail;
    (void)state;
    ratio.judged = JUDGED_RATIO;
    assert_true(burnin_is_dead(&rail, 0.04));
    assert_true(burnin_is_dead(&rail, -0.04));
    assert_false(burnin_is_dead(&rail, 0.05)); /* a hundredth of the limit is 0.045 */
    assert_true(burnin_is_dead(&negative, 0.1));
    assert_false(burnin_is_dead(&negative, -0.2));
    assert_false(burnin_is_dead(&across, 0));
    assert_false(burnin_is_dead(&high, 0));
    assert_false(burnin_is_dead(&ratio, 0));
}

static void test_failures_in_a_row(void **state)
{
    const struct limits limits = limits_between(4.5, 5.5);
    const struct burnin_demands demands = { &limits, anywhere, { 3, 0 } };
    struct burnin_state point = burnin_state_new();
    (void)state;
    assert_false(take(&point, &demands, value_of(1, 5.6, VERDICT_FAIL)));
    assert_false(take(&point, &demands, value_of(2, 5.6, VERDICT_CONDITIONAL_FAIL)));
    assert_false(take(&point, &demands, value_of(3, 5.4, VERDICT_CONDITIONAL_PASS)));
    assert_false(take(&point, &demands, value_of(4, 5.6, VERDICT_FAIL)));
    assert_false(take(&point, &demands, none_of(5, FAILURE_TIMEOUT)));
    assert_false(take(&point, &demands, none_of(6, FAILURE_OVER_RANGE)));
    assert_true(take(&point, &demands, value_of(7, 5.7, VERDICT_FAIL)));
    assert_int_equal(point.trip, BURNIN_LIMIT);
    assert_int_equal(point.trip_round, 7);
    assert_int_equal(point.lost, 1);
    assert_int_equal(point.failures, 5);
    assert_true(fabs(point.worst + 0.4) < 1e-9);
    assert_int_equal(point.worst_round, 7);
    assert_false(take(&point, &demands, value_of(8, 5.7, VERDICT_FAIL)));
    assert_int_equal(point.trip_round, 7);
}

static void test_warm_up_trips_nothing(void **state)
{
    const struct limits limits = limits_between(4.5, 5.5);
    const struct bench_drift drift = { 0.2, NAN, NAN, 0, 0 };
    const struct burnin_demands demands = { &limits, drift, { 1, 1 } };
    struct burnin_state point = burnin_state_new();
    struct burnin_outcome warm = value_of(1, 6.0, VERDICT_FAIL);
    (void)state;
    warm.warm_up = true;
    assert_false(take(&point, &demands, warm));
    assert_true(isnan(point.first));
    assert_true(isnan(point.worst));
    warm = none_of(2, FAILURE_TIMEOUT);
    warm.warm_up = true;
    assert_false(take(&point, &demands, warm));
    assert_false(take(&point, &demands, value_of(3, 5.0, VERDICT_PASS)));
    assert_true(fabs(point.first - 5.0) < 1e-12);
}

static void test_drift(void **state)
{
    const struct limits limits = limits_between(0, 10);
    const struct bench_drift percent = { NAN, 0.02, NAN, 0, 0 };
    const struct bench_drift reference = { 0.1, NAN, 4.0, 0, 0 };
    const struct burnin_demands first = { &limits, percent, { 1, 0 } };
    const struct burnin_demands stated = { &limits, reference, { 1, 0 } };
    struct burnin_state point = burnin_state_new();
    (void)state;
    assert_false(take(&point, &first, value_of(1, 5.0, VERDICT_PASS)));
    assert_false(take(&point, &first, value_of(2, 5.099, VERDICT_PASS)));
    assert_true(take(&point, &first, value_of(3, 4.899, VERDICT_PASS)));
    assert_int_equal(point.trip, BURNIN_DRIFT);
    point = burnin_state_new();
    assert_true(take(&point, &stated, value_of(1, 4.2, VERDICT_PASS)));
}

/*
 * Of 4, 6, 4, 6 the mean is 5 and the standard deviation 2 / sqrt(3); a single
 * value scatters about that mean by t(0.975, 3) = 3.182446 times 2 / sqrt(3) sqrt(1 + 1 / 4)
 * (prediction interval; NIST/SEMATECH e-Handbook, 1.3.6.7.2 for t), 4.1085.
 */
static void test_drift_from_a_mean(void **state)
{
    const struct limits limits = limits_none();
    const struct bench_drift bound = { 8, NAN, NAN, 4, 0 };
    const struct burnin_demands demands = { &limits, bound, { 1, 0 } };
    struct burnin_state point = burnin_state_new();
    (void)state;
    for (int64_t round = 1; round <= 4; round++) {
        assert_false(take(&point, &demands, value_of(round, round % 2 ? 4 : 6, VERDICT_NONE)));
        assert_int_equal(point.drift, VERDICT_PASS);
    }
    assert_true(fabs(point.first - 5) < 1e-12);
    assert_true(fabs(baseline_uncertainty(&point.baseline, false) - 4.1085) < 1e-4);
    assert_false(take(&point, &demands, value_of(5, 8.89, VERDICT_NONE)));
    assert_int_equal(point.drift, VERDICT_PASS);
    assert_false(take(&point, &demands, value_of(6, 8.90, VERDICT_NONE)));
    assert_int_equal(point.drift, VERDICT_CONDITIONAL_PASS);
    assert_true(fabs(point.first - 5) < 1e-12);
    assert_true(take(&point, &demands, value_of(7, 13.1, VERDICT_NONE)));
    assert_int_equal(point.drift, VERDICT_CONDITIONAL_FAIL);
    assert_int_equal(point.drift_worst, VERDICT_CONDITIONAL_FAIL);
    assert_false(take(&point, &demands, value_of(8, 17.2, VERDICT_NONE)));
    assert_int_equal(point.drift, VERDICT_FAIL);
}

/* What failed does not move what later readings are compared with. */
static void test_a_failure_is_no_reference(void **state)
{
    const struct limits limits = limits_none();
    const struct bench_drift bound = { 1, NAN, NAN, 10, 0 };
    const struct burnin_demands demands = { &limits, bound, { 3, 0 } };
    struct burnin_state point = burnin_state_new();
    (void)state;
    assert_false(take(&point, &demands, value_of(1, 5, VERDICT_NONE)));
    assert_false(take(&point, &demands, value_of(2, 6.5, VERDICT_NONE)));
    assert_false(take(&point, &demands, value_of(3, 6.5, VERDICT_NONE)));
    assert_true(take(&point, &demands, value_of(4, 6.5, VERDICT_NONE)));
    assert_true(fabs(point.first - 5) < 1e-12);
}

/* A check standard that scatters by 1 learns for 20 readings, then a jump of 5 is out of control. */
static void test_check_standard(void **state)
{
    const struct limits limits = limits_none();
    const struct bench_drift chart = { NAN, NAN, NAN, 1, 20 };
    const struct burnin_demands demands = { &limits, chart, { 2, 0 } };
    struct burnin_state point = burnin_state_new();
    (void)state;
    for (int64_t round = 1; round <= 60; round++)
        assert_false(take(&point, &demands, value_of(round, round % 2 ? 99 : 101, VERDICT_NONE)));
    assert_false(take(&point, &demands, value_of(61, 105, VERDICT_NONE)));
    assert_int_equal(point.cause, BURNIN_CONTROL);
    assert_true(take(&point, &demands, value_of(62, 105, VERDICT_NONE)));
    assert_int_equal(point.trip, BURNIN_CONTROL);
    assert_string_equal(burnin_cause_name(point.trip), "check standard");
}

static void test_lost_in_a_row(void **state)
{
    const struct limits limits = limits_none();
    const struct burnin_demands never = { &limits, anywhere, { 1, 0 } };
    const struct burnin_demands three = { &limits, anywhere, { 1, 3 } };
    struct burnin_state point = burnin_state_new();
    (void)state;
    for (int64_t round = 1; round <= 1000; round++)
        assert_false(take(&point, &never, none_of(round, FAILURE_DISCONNECTED)));
    point = burnin_state_new();
    assert_false(take(&point, &three, none_of(1, FAILURE_TIMEOUT)));
    assert_false(take(&point, &three, none_of(2, FAILURE_TIMEOUT)));
    assert_false(take(&point, &three, value_of(3, 1.0, VERDICT_NONE)));
    assert_false(take(&point, &three, none_of(4, FAILURE_TIMEOUT)));
    assert_false(take(&point, &three, none_of(5, FAILURE_TIMEOUT)));
    assert_true(take(&point, &three, none_of(6, FAILURE_TIMEOUT)));
    assert_int_equal(point.trip, BURNIN_LOST);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_margins),
        cmocka_unit_test(test_what_is_dead),
        cmocka_unit_test(test_failures_in_a_row),
        cmocka_unit_test(test_warm_up_trips_nothing),
        cmocka_unit_test(test_drift),
        cmocka_unit_test(test_drift_from_a_mean),
        cmocka_unit_test(test_a_failure_is_no_reference),
        cmocka_unit_test(test_check_standard),
        cmocka_unit_test(test_lost_in_a_row),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
