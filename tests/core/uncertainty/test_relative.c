/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Correlation, comparison and agreement of two readings. */
#include "core/reading.h"
#include "core/uncertainty/agreement.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "core/uncertainty/expand.h"
#include "tests/near.h"

static struct budget budget_of(double accuracy, double probe, double resolution)
{
    struct budget budget = { .count = 0 };
    budget_add(&budget, "instrument accuracy", SHAPE_RECTANGULAR, accuracy, 1, INFINITY);
    budget_add(&budget, "probe factor", SHAPE_RECTANGULAR, probe, 1, INFINITY);
    budget_add(&budget, "resolution", SHAPE_RECTANGULAR, resolution, 1, INFINITY);
    return budget;
}

/* What budget_combine() splits must come to JCGM 100 (16) for every coefficient. */
static void splitting_keeps_the_variance(void **state)
{
    (void)state;
    struct budget a = budget_of(3, 0, 0);
    struct budget b = budget_of(2, 0, 0);
    for (double r = -1; r <= 1; r += 0.125) {
        struct budget combined;
        const struct shared shared = { "instrument accuracy", r, false };
        assert_true(budget_combine(&a, 1, &b, -1, &shared, 1, &combined));
        assert_within(budget_combined(&combined), sqrt(9 + 4 - 12 * r), 1e-12);
    }
    struct budget combined;
    const struct shared adverse = { "instrument accuracy", 1, true };
    assert_true(budget_combine(&a, 1, &b, -1, &adverse, 1, &combined));
    assert_within(budget_combined(&combined), 5, 1e-12);
    assert_true(budget_combine(&a, 1, &b, 1, &adverse, 1, &combined));
    assert_within(budget_combined(&combined), 5, 1e-12);
    const struct shared wrong = { "instrument accuracy", 1.5, false };
    assert_false(budget_combine(&a, 1, &b, 1, &wrong, 1, &combined));
}

static void different_laws_are_not_merged(void **state)
{
    (void)state;
    struct budget a = budget_of(3, 0, 0);
    struct budget b = { .count = 0 };
    struct budget combined;
    const struct shared shared = { "instrument accuracy", 1, false };
    budget_add(&b, "instrument accuracy", SHAPE_NORMAL, 2, 1, INFINITY);
    assert_true(budget_combine(&a, 1, &b, -1, &shared, 1, &combined));
    assert_within(budget_combined(&combined), sqrt(13), 1e-12); /* no credit */
    assert_true(budget_combine(&a, 1, &b, 1, &shared, 1, &combined));
    assert_within(budget_combined(&combined), 5, 1e-12); /* full debit */
}

/* The probe is the same, so its factor falls out of a ratio; what is read does not. */
static void a_ratio_loses_the_probe(void **state)
{
    (void)state;
    struct budget a = budget_of(0.004, 10 * 0.01, 0.001);
    struct budget b = budget_of(0.002, 5 * 0.01, 0.001);
    struct evaluated reading = { 10, &a };
    struct evaluated reference = { 5, &b };
    struct shared shared[RELATIVE_SHARED];
    struct comparison comparison;
    size_t count = relative_shared(0, 10, 5, shared);
    assert_true(relative_compare(JUDGED_RATIO, &reading, &reference, shared, count, &comparison));
    assert_near(comparison.value, 2, 1e-15);
    double expected = 2 * sqrt(2 * 4e-4 * 4e-4 + 1e-4 * 1e-4 + 2e-4 * 2e-4);
    assert_near(comparison.expanded.standard, expected, 1e-9);
    count = relative_shared(1, 10, 5, shared);
    assert_true(relative_compare(JUDGED_RATIO, &reading, &reference, shared, count, &comparison));
    assert_near(comparison.expanded.standard, 2 * hypot(1e-4, 2e-4), 1e-9);
    assert_true(
        relative_compare(JUDGED_DIFFERENCE, &reading, &reference, shared, count, &comparison));
    assert_near(comparison.expanded.standard, sqrt(0.002 * 0.002 + 0.05 * 0.05 + 2e-6), 1e-9);
    /* Of opposite sign the same errors may add up. */
    reference.value = -5;
    count = relative_shared(1, 10, -5, shared);
    assert_true(relative_compare(JUDGED_RATIO, &reading, &reference, shared, count, &comparison));
    assert_true(comparison.expanded.standard > 2 * (4e-4 + 4e-4));
}

static void nothing_is_divided_by_what_may_be_zero(void **state)
{
    (void)state;
    struct budget a = budget_of(1, 0, 0);
    struct budget stated = relative_stated(2);
    struct evaluated reading = { 10, &a };
    struct evaluated reference = { 2.9, &stated };
    struct comparison comparison;
    assert_false(relative_compare(JUDGED_RATIO, &reading, &reference, NULL, 0, &comparison));
    assert_false(relative_compare(JUDGED_VALUE, &reading, &reference, NULL, 0, &comparison));
    assert_true(relative_compare(JUDGED_DIFFERENCE, &reading, &reference, NULL, 0, &comparison));
    assert_near(comparison.expanded.standard, sqrt(2), 1e-15);
    reference.value = NAN;
    assert_false(relative_compare(JUDGED_DIFFERENCE, &reading, &reference, NULL, 0, &comparison));
}

static void a_hopeless_ratio_has_no_verdict(void **state)
{
    (void)state;
    struct limits limits = limits_between(-1, 1);
    struct budget budget = relative_stated(1.2);
    struct expanded expanded = budget_expand(&budget);
    struct judgement judgement = limits_decide(&limits, 0, &expanded, &budget);
    assert_true(judgement.refused);
    assert_int_equal(judgement.verdict, VERDICT_NONE);
    assert_int_equal(limits_decide(&limits, 2.3, &expanded, &budget).verdict, VERDICT_FAIL);
    limits.least_ratio = 0.5;
    assert_int_equal(limits_decide(&limits, 0, &expanded, &budget).verdict,
                     VERDICT_CONDITIONAL_PASS);
    limits = limits_none();
    assert_true(isnan(limits_decide(&limits, 0, &expanded, &budget).probability));
    limits.high = 1;
    judgement = limits_decide(&limits, -5, &expanded, &budget);
    assert_true(isnan(judgement.ratio) && !judgement.refused);
    assert_int_equal(judgement.verdict, VERDICT_PASS);
    expanded.uncertainty = expanded.standard = NAN;
    assert_int_equal(limits_decide(&limits, 0, &expanded, &budget).verdict, VERDICT_NONE);
}

/* ISO/IEC 17043 (from memory); cases own. */
static void agreement_counts_what_is_common(void **state)
{
    (void)state;
    struct side_value a = { 5.003, 0.003 };
    struct side_value b = { 4.998, 0.004 };
    double en = agreement_en(&a, &b, 0);
    assert_near(en, 1, 1e-9);
    assert_near(agreement_en(&a, &b, 0.5), 5 / sqrt(13), 1e-9);
    assert_false(agreement_holds(agreement_en(&a, &b, 0.5)));
    assert_true(agreement_holds(agreement_en(&a, &b, -0.5)));
    assert_near(agreement_en(&b, &a, 0), -en, 1e-15);
    b.uncertainty = a.uncertainty;
    assert_true(isinf(agreement_en(&a, &b, 1)));
    b.value = a.value;
    assert_true(agreement_en(&a, &b, 1) == 0);
    b.value = NAN;
    assert_false(agreement_holds(agreement_en(&a, &b, 0)));
    b = (struct side_value) { 5, -1 };
    assert_true(isnan(agreement_en(&a, &b, 0)));
    assert_true(isnan(agreement_en(&a, &a, 1.01)));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(splitting_keeps_the_variance),
        cmocka_unit_test(different_laws_are_not_merged),
        cmocka_unit_test(a_ratio_loses_the_probe),
        cmocka_unit_test(nothing_is_divided_by_what_may_be_zero),
        cmocka_unit_test(a_hopeless_ratio_has_no_verdict),
        cmocka_unit_test(agreement_counts_what_is_common),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
