/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Correlated quantities of JCGM 100:2008 H.2, and a budget with U-shaped terms.
 */
#include "core/uncertainty/correlation.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "core/uncertainty/expand.h"
#include "tests/near.h"

/* JCGM 100:2008 Table H.2: five sets of voltage, current and phase. */
static const double volts[] = { 5.007, 4.994, 5.005, 4.990, 4.999 };
static const double amperes[] = { 19.663e-3, 19.639e-3, 19.640e-3, 19.685e-3, 19.678e-3 };
static const double phases[] = { 1.0456, 1.0438, 1.0468, 1.0428, 1.0433 };

/* JCGM 100:2008 H.2.4: resistance and reactance of each set, then type A. */
static void sets_first(void **state)
{
    (void)state;
    double resistance[5];
    double reactance[5];
    for (size_t k = 0; k < 5; k++) {
        resistance[k] = volts[k] * cos(phases[k]) / amperes[k];
        reactance[k] = volts[k] * sin(phases[k]) / amperes[k];
    }
    double mean;
    double standard;
    assert_true(type_a(resistance, 5, &mean, &standard));
    assert_near(mean, 127.7316304828, 1e-9);
    assert_near(standard, 0.0712735431786, 1e-9);
    assert_true(type_a(reactance, 5, &mean, &standard));
    assert_near(mean, 219.8468946033, 1e-9);
    assert_near(standard, 0.2954890856101, 1e-9);
}

/* EA-4/02 supplement S7, 30 dB step, terms as printed: u = 0.0224 dB (0.02234 unrounded). */
static void step_attenuator(void **state)
{
    (void)state;
    static const struct {
        double standard;
        enum shape shape;
    } terms[] = {
        { 0.009, SHAPE_NORMAL },       { 0.0025, SHAPE_RECTANGULAR }, { 0.0011, SHAPE_ARCSINE },
        { 0.02, SHAPE_ARCSINE },       { 0.0017, SHAPE_ARCSINE },     { 0.0003, SHAPE_ARCSINE },
        { 0.0003, SHAPE_RECTANGULAR }, { 0.0019, SHAPE_RECTANGULAR }, { 0.002, SHAPE_NORMAL },
    };
    struct budget budget = { .count = 0 };
    for (size_t k = 0; k < sizeof(terms) / sizeof(terms[0]); k++)
        budget_add(&budget, "S7", terms[k].shape, terms[k].standard, 1.0, INFINITY);
    struct expanded expanded = budget_expand(&budget);
    assert_near(expanded.standard, 0.02234144131, 1e-9);
    assert_near(2.0 * expanded.standard, 0.04468288263, 1e-9);
    /* The U-shaped term is 0.9 of the whole: its interval is narrower than with k = 2. */
    assert_int_equal(expanded.method, COVERAGE_CONVOLUTION);
    assert_true(expanded.coverage > 1.5 && expanded.coverage < 1.9);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(sets_first),
        cmocka_unit_test(step_attenuator),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
