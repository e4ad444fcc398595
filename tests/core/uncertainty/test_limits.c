/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "core/uncertainty/limits.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <math.h>

static const struct limits rail = { .low = 4.75, .high = 5.25, .decision = DECISION_GUARDED };

static void no_reading_has_no_verdict(void **state)
{
    (void)state;
    static const double none[] = { NAN, INFINITY, -INFINITY };
    struct limits simple = rail;
    simple.decision = DECISION_SIMPLE;
    for (size_t i = 0; i < 3; i++) {
        assert_int_equal(limits_judge(&rail, none[i], 0.01), VERDICT_NONE);
        assert_int_equal(limits_judge(&rail, 5.0, none[i]), VERDICT_NONE);
        assert_int_equal(limits_judge(&simple, none[i], 0.01), VERDICT_NONE);
        assert_int_equal(limits_judge(&simple, 5.0, none[i]), VERDICT_NONE);
    }
    assert_int_equal(limits_judge(&rail, 5.0, -0.01), VERDICT_NONE);
}

static void a_limit_that_is_no_number_gives_no_verdict(void **state)
{
    (void)state;
    struct limits limits = { .low = NAN, .high = 5.25 };
    assert_int_equal(limits_judge(&limits, 9.0, 0.01), VERDICT_NONE);
    limits = (struct limits) { .low = 4.75, .high = NAN, .decision = DECISION_SIMPLE };
    assert_int_equal(limits_judge(&limits, 5.0, 0.01), VERDICT_NONE);
}

static void no_limit_has_no_verdict(void **state)
{
    (void)state;
    struct limits limits = limits_none();
    assert_false(limits_present(&limits));
    assert_int_equal(limits_judge(&limits, 5.0, 0.01), VERDICT_NONE);
    limits.high = 1.0;
    assert_true(limits_present(&limits));
    limits = limits_none();
    limits.low = 1.0;
    assert_true(limits_present(&limits));
}

static void one_limit_judges_one_side(void **state)
{
    (void)state;
    struct limits limits = limits_none();
    limits.low = 4.75;
    assert_int_equal(limits_judge(&limits, 1e300, 0.01), VERDICT_PASS);
    assert_int_equal(limits_judge(&limits, 4.0, 0.01), VERDICT_FAIL);
    limits = limits_none();
    limits.high = 5.25;
    assert_int_equal(limits_judge(&limits, -1e300, 0.01), VERDICT_PASS);
    assert_int_equal(limits_judge(&limits, 6.0, 0.01), VERDICT_FAIL);
}

static void the_lower_limit_mirrors_the_upper(void **state)
{
    (void)state;
    /* Halves and quarters, so that the edges are exact. */
    struct limits limits = { .low = -2.0, .high = 2.0 };
    static const struct {
        double value;
        enum verdict verdict;
    } cases[] = {
        { 1.70, VERDICT_PASS },
        { 1.75, VERDICT_CONDITIONAL_PASS },
        { 2.00, VERDICT_CONDITIONAL_PASS },
        { 2.01, VERDICT_CONDITIONAL_FAIL },
        { 2.25, VERDICT_CONDITIONAL_FAIL },
        { 2.26, VERDICT_FAIL },
    };
    for (size_t i = 0; i < sizeof(cases) / sizeof(cases[0]); i++) {
        assert_int_equal(limits_judge(&limits, cases[i].value, 0.25), cases[i].verdict);
        assert_int_equal(limits_judge(&limits, -cases[i].value, 0.25), cases[i].verdict);
    }
}

static void the_worse_side_counts(void **state)
{
    (void)state;
    /* Inside both limits, but nearer to one than the uncertainty. */
    assert_int_equal(limits_judge(&rail, 4.76, 0.02), VERDICT_CONDITIONAL_PASS);
    assert_int_equal(limits_judge(&rail, 5.24, 0.02), VERDICT_CONDITIONAL_PASS);
    /* An uncertainty wider than the limits can never pass. */
    assert_int_equal(limits_judge(&rail, 5.0, 1.0), VERDICT_CONDITIONAL_PASS);
    assert_int_equal(limits_judge(&rail, 5.5, 1.0), VERDICT_CONDITIONAL_FAIL);
}

static void a_perfect_reading_still_has_the_tie_rule(void **state)
{
    (void)state;
    assert_int_equal(limits_judge(&rail, 5.0, 0.0), VERDICT_PASS);
    assert_int_equal(limits_judge(&rail, 5.25, 0.0), VERDICT_CONDITIONAL_PASS);
    assert_int_equal(limits_judge(&rail, 5.26, 0.0), VERDICT_FAIL);
}

static void simple_acceptance_ignores_the_uncertainty(void **state)
{
    (void)state;
    struct limits limits = rail;
    limits.decision = DECISION_SIMPLE;
    assert_int_equal(limits_judge(&limits, 4.75, 1.0), VERDICT_PASS);
    assert_int_equal(limits_judge(&limits, 5.25, 1.0), VERDICT_PASS);
    assert_int_equal(limits_judge(&limits, 4.7499, 1.0), VERDICT_FAIL);
    assert_int_equal(limits_judge(&limits, 5.2501, 1.0), VERDICT_FAIL);
}

static void names_read_back(void **state)
{
    (void)state;
    enum verdict verdict = VERDICT_FAIL;
    assert_false(verdict_from_name("Pass", &verdict));
    assert_false(verdict_from_name("", &verdict));
    assert_int_equal(verdict, VERDICT_FAIL);
    for (int i = VERDICT_NONE; i <= VERDICT_FAIL; i++) {
        assert_true(verdict_from_name(verdict_name((enum verdict)i), &verdict));
        assert_int_equal(verdict, i);
    }
    assert_string_equal(verdict_name(VERDICT_CONDITIONAL_FAIL), "conditional fail");
    assert_string_equal(decision_name(DECISION_SIMPLE), "simple");
    assert_string_equal(decision_name(DECISION_GUARDED), "guarded");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(no_reading_has_no_verdict),
        cmocka_unit_test(a_limit_that_is_no_number_gives_no_verdict),
        cmocka_unit_test(no_limit_has_no_verdict),
        cmocka_unit_test(one_limit_judges_one_side),
        cmocka_unit_test(the_lower_limit_mirrors_the_upper),
        cmocka_unit_test(the_worse_side_counts),
        cmocka_unit_test(a_perfect_reading_still_has_the_tie_rule),
        cmocka_unit_test(simple_acceptance_ignores_the_uncertainty),
        cmocka_unit_test(names_read_back),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
