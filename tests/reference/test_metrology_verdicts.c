/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Verdicts and acceptance limits of ILAC-G8:09/2019 4.2, upper limit TL = 1, U
 * = 0.25. Cases are own; the tie rule is ours and stands in
 * core/uncertainty/limits.h.
 */
#include "core/uncertainty/limits.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "tests/near.h"

static const double uncertainty = 0.25;

static enum verdict judge(enum decision decision, double value)
{
    const struct limits limits = { .low = -INFINITY, .high = 1.0, .decision = decision };
    return limits_judge(&limits, value, uncertainty);
}

/* The largest value that still passes, by bisection between a pass and a fail. */
static double acceptance_limit(enum decision decision)
{
    double pass = 0.0;
    double fail = 2.0;
    for (int i = 0; i < 60; i++) {
        double middle = (pass + fail) / 2.0;
        if (judge(decision, middle) == VERDICT_PASS)
            pass = middle;
        else
            fail = middle;
    }
    return pass;
}

/* ILAC-G8:09/2019 4.2, rows r = 1 (w = U) and r = 0 (simple acceptance). */
static void acceptance_limits(void **state)
{
    (void)state;
    assert_within(acceptance_limit(DECISION_GUARDED), 0.75, 1e-15);
    assert_within(acceptance_limit(DECISION_SIMPLE), 1.0, 1e-15);
}

/* ILAC-G8:09/2019 4.2.1 (simple) and 4.2.3 (with conditional zones). */
static void decision_table(void **state)
{
    (void)state;
    static const struct {
        double value;
        enum verdict simple;
        enum verdict guarded;
    } rows[] = {
        { 0.7, VERDICT_PASS, VERDICT_PASS },
        { 0.75, VERDICT_PASS, VERDICT_CONDITIONAL_PASS },
        { 0.7501, VERDICT_PASS, VERDICT_CONDITIONAL_PASS },
        { 0.9, VERDICT_PASS, VERDICT_CONDITIONAL_PASS },
        { 1.0, VERDICT_PASS, VERDICT_CONDITIONAL_PASS },
        { 1.0001, VERDICT_FAIL, VERDICT_CONDITIONAL_FAIL },
        { 1.1, VERDICT_FAIL, VERDICT_CONDITIONAL_FAIL },
        { 1.25, VERDICT_FAIL, VERDICT_CONDITIONAL_FAIL },
        { 1.2501, VERDICT_FAIL, VERDICT_FAIL },
        { 1.4, VERDICT_FAIL, VERDICT_FAIL },
    };
    for (size_t i = 0; i < sizeof(rows) / sizeof(rows[0]); i++) {
        assert_int_equal(judge(DECISION_SIMPLE, rows[i].value), rows[i].simple);
        assert_int_equal(judge(DECISION_GUARDED, rows[i].value), rows[i].guarded);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(acceptance_limits),
        cmocka_unit_test(decision_table),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
