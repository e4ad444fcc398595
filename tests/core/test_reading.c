/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "bench_tables.h"
#include "core/reading.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <string.h>

#include <cmocka.h>

#include "tests/near.h"

static const struct setup setup_20v = { 2, COUPLING_DC, 0, 0 };

static struct signal dc(double value)
{
    struct signal signal = signal_level(value);
    return signal;
}

static bool evaluate(struct reading *reading, const struct bench_table *table,
                     const double *repeats, size_t n, struct failure *failure)
{
    struct signal signal = dc(repeats[0]);
    struct limits limits = limits_between(4.75, 5.25);
    memset(reading, 0, sizeof *reading);
    return reading_evaluate(reading, &table->chain, &setup_20v, &signal, repeats, n, &limits,
                            failure);
}

static void test_no_number_is_no_reading(void **state)
{
    (void)state;
    struct bench_table table;
    struct reading reading;
    meter_table(&table);
    double bad[][2] = { { NAN, 5 }, { 5, INFINITY }, { 5, NAN } };
    for (size_t i = 0; i < 3; i++) {
        struct failure failure = { 0 };
        assert_false(evaluate(&reading, &table, bad[i], 2, &failure));
        assert_int_equal(failure.code, FAILURE_NO_VALUE);
    }
}

static void test_failed_reading_gives_no_value(void **state)
{
    (void)state;
    struct reading reading = { .value = 5 };
    struct failure failure = { 0 };
    double value = 1, uncertainty = 2;
    failure_set(&failure, FAILURE_TIMEOUT, "meter", NULL, "nothing came");
    reading_fail(&reading, &failure);
    assert_false(reading_value(&reading, &value, &uncertainty));
    assert_within(value, 1, 0);
    assert_int_equal(reading.failure.code, FAILURE_TIMEOUT);
    assert_int_equal(reading.judgement.verdict, VERDICT_NONE);
    assert_true(isnan(reading.value));
}

static void test_single_reading(void **state)
{
    (void)state;
    struct bench_table table;
    struct reading reading;
    struct failure failure = { 0 };
    double one[] = { 5.0 };
    meter_table(&table);
    assert_true(evaluate(&reading, &table, one, 1, &failure));
    double value, uncertainty;
    assert_true(reading_value(&reading, &value, &uncertainty));
    assert_within(value, 5, 0);
    double limit = 80e-6 * 5 + 10e-6 * 20;
    /* Rectangular terms of 12 to 1: little more than 95.45 % of the larger. */
    assert_true(uncertainty > 0.9545 * limit && uncertainty < 0.97 * limit);
    assert_int_equal(reading.expanded.method, COVERAGE_CONVOLUTION);
    assert_within(reading.expanded.coverage * reading.expanded.standard, uncertainty, 1e-15);
    assert_within(reading.judgement.ratio, 0.25 / uncertainty, 1e-6);
    assert_within(reading.judgement.probability, 1, 1e-12);
    assert_int_equal(reading.judgement.verdict, VERDICT_PASS);
    assert_int_equal(reading.repeats, 1);
}

/* The 20 readings of JCGM 100 4.4.3, Table 1: s of the mean 0.33, 19 degrees of freedom. */
static void test_repeats_enter_the_budget(void **state)
{
    (void)state;
    static const double table1[] = { 96.90,  98.18,  98.25,  98.61,  99.03,  99.49,  99.56,
                                     99.74,  99.89,  100.07, 100.33, 100.42, 100.68, 100.95,
                                     101.11, 101.20, 101.57, 101.84, 102.36, 102.72 };
    struct bench_table table;
    struct reading reading = { 0 };
    struct failure failure = { 0 };
    struct limits limits = limits_none();
    struct setup setup = { 3, COUPLING_DC, 0, 0 };
    struct signal signal = dc(table1[0]);
    meter_table(&table);
    assert_true(
        reading_evaluate(&reading, &table.chain, &setup, &signal, table1, 20, &limits, &failure));
    assert_within(reading.value, 100.145, 1e-9);
    const struct contribution *last = &reading.budget.terms[reading.budget.count - 1];
    assert_string_equal(last->source, "repeatability");
    assert_within(last->standard, 0.3329157472047, 1e-9);
    assert_within(last->freedom, 19, 0);
    assert_int_equal(reading.judgement.verdict, VERDICT_NONE);
    /* t for 95.45 % and 19 degrees of freedom is 2.14 (JCGM 100:2008, table G.2). */
    assert_true(reading.expanded.coverage > 2.12 && reading.expanded.coverage < 2.15);
}

static void test_warnings_are_bounded(void **state)
{
    (void)state;
    struct reading reading = { 0 };
    for (int i = 0; i < 2 * READING_MAX_WARNINGS; i++)
        reading_warn(&reading, "warning %d of %s", i,
                     "a long text that goes on and on and on and on and on and on and on and on "
                     "and on and on and on and on and on and on and on and on and on and on");
    assert_int_equal(reading.warning_count, READING_MAX_WARNINGS);
    assert_true(strlen(reading.warnings[0]) < sizeof reading.warnings[0]);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_no_number_is_no_reading),
        cmocka_unit_test(test_failed_reading_gives_no_value),
        cmocka_unit_test(test_single_reading),
        cmocka_unit_test(test_repeats_enter_the_budget),
        cmocka_unit_test(test_warnings_are_bounded),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
