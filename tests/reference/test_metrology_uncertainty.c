/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Standard uncertainties, their combination, degrees of freedom and coverage
 * factors.
 */
#include "core/input/accuracy.h"
#include "core/uncertainty/budget.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "core/uncertainty/expand.h"
#include "tests/near.h"

/* JCGM 100:2008 4.3.7 Example 2 and 5.1.5 Example (from memory); printed u_c: 15 uV. */
static void voltmeter_specification(void **state)
{
    (void)state;
    const struct accuracy accuracy = { .reading = 14e-6, .range = 2e-6, .level = ACCURACY_BOUND };
    double limit = accuracy_limit(&accuracy, 0.928571, 1.0, 0.0, 23.0);
    double standard = accuracy_standard(limit, accuracy.level);
    assert_near(limit, 1.4999994e-05, 1e-9);
    assert_near(standard, 8.660250573743e-06, 1e-9);
    struct budget budget = { .count = 0 };
    budget_add(&budget, "repeatability", SHAPE_NORMAL, 12e-6, 1.0, INFINITY);
    budget_add(&budget, "voltmeter", SHAPE_RECTANGULAR, standard, 1.0, INFINITY);
    assert_near(budget_combined(&budget), 1.479864655974e-05, 1e-9);
    assert_near(budget_combined(&budget) / 0.928571, 1.593701134295e-05, 1e-9);
}

/* JCGM 100:2008 G.4.1 Example (from memory): per cent, n = 10, 5, 15. Printed: 1.03, 19.0. */
static void product_of_three_means(void **state)
{
    (void)state;
    struct budget budget = { .count = 0 };
    budget_add(&budget, "x1", SHAPE_NORMAL, 0.25, 1.0, 9.0);
    budget_add(&budget, "x2", SHAPE_NORMAL, 0.57, 1.0, 4.0);
    budget_add(&budget, "x3", SHAPE_NORMAL, 0.82, 1.0, 14.0);
    struct expanded expanded = budget_expand(&budget);
    assert_near(expanded.standard, 1.02946588093, 1e-9);
    assert_near(expanded.freedom, 18.99874231427, 1e-9);
    /* 18.99 is cut to 18 (G.4.1, G.6.4): two sigma of Student's t, table below. */
    assert_near(expanded.coverage, 2.14884938823, 1e-8);
}

/* JCGM 100:2008 H.1.6: inputs as printed; nanometres. Full digits, so 16.76 and not 17.47. */
static void end_gauge(void **state)
{
    (void)state;
    struct budget budget = { .count = 0 };
    budget_add(&budget, "standard", SHAPE_NORMAL, 25.0, 1.0, 18.0);
    budget_add(&budget, "difference", SHAPE_NORMAL, 9.7, 1.0, 25.6);
    budget_add(&budget, "expansion", SHAPE_NORMAL, 2.9, 1.0, 50.0);
    budget_add(&budget, "temperature", SHAPE_NORMAL, 16.6, 1.0, 2.0);
    struct expanded expanded = budget_expand(&budget);
    assert_near(expanded.standard, 31.67112249353, 1e-9);
    assert_near(expanded.freedom, 16.76455398092, 1e-9);
    assert_true(expanded.coverage == coverage_factor(16.0));
}

/*
 * NIST TN 1297 (1994) Table B.1, column 95.45 %, which is JCGM 100:2008 Table
 * G.2; the column stands for exactly two sigma. Printed and recomputed.
 */
static void t_table(void **state)
{
    (void)state;
    static const struct {
        double freedom;
        double printed;
        double recomputed;
    } rows[] = {
        { 1, 13.97, 13.9677301995 }, { 2, 4.53, 4.52653668771 },  { 3, 3.31, 3.30682217501 },
        { 4, 2.87, 2.86930941463 },  { 5, 2.65, 2.6486494307 },   { 6, 2.52, 2.51652405224 },
        { 7, 2.43, 2.42880512955 },  { 8, 2.37, 2.36641578379 },  { 9, 2.32, 2.31980589817 },
        { 10, 2.28, 2.28367820245 }, { 11, 2.25, 2.25486269677 }, { 12, 2.23, 2.23134809402 },
        { 13, 2.21, 2.21179754335 }, { 14, 2.20, 2.19528819093 }, { 15, 2.18, 2.18116263507 },
        { 16, 2.17, 2.16893999119 }, { 17, 2.16, 2.15826043291 }, { 18, 2.15, 2.14884938823 },
        { 19, 2.14, 2.14049372305 }, { 20, 2.13, 2.13302548045 }, { 25, 2.11, 2.10508781286 },
        { 30, 2.09, 2.08684432731 }, { 35, 2.07, 2.07399650822 }, { 40, 2.06, 2.0644594709 },
        { 45, 2.06, 2.05709972954 }, { 50, 2.05, 2.05124817005 }, { 100, 2.025, 2.02530912782 },
    };
    for (size_t i = 0; i < sizeof(rows) / sizeof(rows[0]); i++) {
        assert_within(coverage_factor(rows[i].freedom), rows[i].printed, 0.005);
        assert_near(coverage_factor(rows[i].freedom), rows[i].recomputed, 1e-8);
    }
}

/* JCGM 100:2008 Table G.1; TN 1297 Table B.1, last row: k = 2 is two sigma, not 95.45 %. */
static void normal_factors(void **state)
{
    (void)state;
    assert_true(coverage_factor(INFINITY) == 2.0);
    assert_near(accuracy_standard(1.0, ACCURACY_NORMAL_95), 1.0 / 1.95996398454, 1e-9);
    assert_near(accuracy_standard(1.0, ACCURACY_NORMAL_99), 1.0 / 2.57582930355, 1e-9);
}

/* JCGM 100:2008 4.3.7, 4.3.9, F.2.2.1; JCGM 101:2008 6.4.6; recomputed. */
static void divisors(void **state)
{
    (void)state;
    assert_near(shape_standard(SHAPE_RECTANGULAR, 1.0), 0.577350269189626, 1e-12);
    assert_near(shape_standard(SHAPE_TRIANGULAR, 1.0), 0.408248290463863, 1e-12);
    assert_near(shape_standard(SHAPE_ARCSINE, 1.0), 0.707106781186548, 1e-12);
    assert_near(shape_standard(SHAPE_NORMAL, 1.0), 1.0, 1e-12);
    assert_near(shape_standard(SHAPE_RECTANGULAR, 0.5), 0.288675134594813, 1e-12);
    assert_near(accuracy_standard(1.0, ACCURACY_NORMAL_99), 0.388224483129464, 1e-12);
}

static double factor_of(enum shape shape)
{
    struct budget budget = { .count = 0 };
    budget_add(&budget, "x", shape, 0.3, -1.0, INFINITY);
    struct expanded expanded = budget_expand(&budget);
    assert_int_equal(expanded.method, COVERAGE_CONVOLUTION);
    return expanded.coverage;
}

/*
 * EA-4/02 supplements S9 (rectangular, k = 1.65 at 95 %) and S10 (trapezoid,
 * 1.83). Own derivation for p = 95.45 %: p sqrt(3), (1 - sqrt(1 - p)) sqrt(6),
 * sqrt(2) sin(p pi / 2); our exact two sigma differ from that p in the sixth
 * digit.
 */
static void dominating_terms(void **state)
{
    (void)state;
    assert_near(factor_of(SHAPE_RECTANGULAR), 1.65324249582, 5e-6);
    assert_near(factor_of(SHAPE_TRIANGULAR), 1.92699572368, 5e-6);
    assert_near(factor_of(SHAPE_ARCSINE), 1.41060310126, 5e-6);
    /* A trapezoid with beta = 1/3 is the sum of rectangular terms of 2/3 and 1/3. */
    struct budget budget = { .count = 0 };
    budget_add(&budget, "wide", SHAPE_RECTANGULAR, shape_standard(SHAPE_RECTANGULAR, 2.0 / 3.0),
               1.0, INFINITY);
    budget_add(&budget, "narrow", SHAPE_RECTANGULAR, shape_standard(SHAPE_RECTANGULAR, 1.0 / 3.0),
               1.0, INFINITY);
    assert_near(budget_expand(&budget).coverage, 1.8564571499, 1e-4);
}

/* EA-4/02 M:2013 supplement S9: hand-held multimeter at 100 V dc. Printed u: 0.030 V. */
static void hand_held_multimeter(void **state)
{
    (void)state;
    struct budget budget = { .count = 0 };
    double resolution = shape_standard(SHAPE_RECTANGULAR, 0.05);
    double source = shape_standard(SHAPE_RECTANGULAR, 0.011);
    assert_near(resolution, 0.0288675134595, 1e-9);
    assert_near(source, 0.00635085296109, 1e-9);
    budget_add(&budget, "calibrator", SHAPE_NORMAL, 0.001, -1.0, INFINITY);
    budget_add(&budget, "resolution", SHAPE_RECTANGULAR, resolution, 1.0, INFINITY);
    budget_add(&budget, "calibrator drift", SHAPE_RECTANGULAR, source, -1.0, INFINITY);
    struct expanded expanded = budget_expand(&budget);
    assert_near(expanded.standard, 0.0295747640170918, 1e-9);
    /*
     * EA-4/02 uses 95 %, whose exact half-width is 0.0505597 V; for 95.45 % the convolution,
     * integrated over 20 000 steps of the second term (own figure), gives 0.0510451 V.
     */
    assert_int_equal(expanded.method, COVERAGE_CONVOLUTION);
    assert_within(expanded.uncertainty, 0.0510450725, 1e-5);
}

/* EA-4/02 supplement S3: 10 kohm resistor by substitution. Printed u: 8.33 mohm. */
static void standard_resistor(void **state)
{
    (void)state;
    struct budget budget = { .count = 0 };
    budget_add(&budget, "R_S", SHAPE_NORMAL, 0.0025, 1.0, INFINITY);
    budget_add(&budget, "dR_D", SHAPE_RECTANGULAR, shape_standard(SHAPE_RECTANGULAR, 0.010), 1.0,
               INFINITY);
    budget_add(&budget, "dR_TS", SHAPE_RECTANGULAR, shape_standard(SHAPE_RECTANGULAR, 0.00275), 1.0,
               INFINITY);
    budget_add(&budget, "dR_TX", SHAPE_RECTANGULAR, shape_standard(SHAPE_RECTANGULAR, 0.0055), 1.0,
               INFINITY);
    budget_add(&budget, "r_C", SHAPE_TRIANGULAR, shape_standard(SHAPE_TRIANGULAR, 1e-6), 10000.0,
               INFINITY);
    budget_add(&budget, "r", SHAPE_NORMAL, 0.07e-6, 10000.0, 4.0);
    struct expanded expanded = budget_expand(&budget);
    assert_near(expanded.standard, 0.00832731449308039, 1e-9);
    assert_near(expanded.freedom, 80110.178270628, 1e-9);
    assert_near(expanded.uncertainty, 0.0166546289861608, 1e-4);
}

/*
 * Own derivation by JCGM 100:2008 4.3.7, 5.1.2 and G.4.1: 5 V, limit 150 uV,
 * 0.1 mV step, 3 uV of ten readings' mean.
 */
static void small_budget(void **state)
{
    (void)state;
    double specification = accuracy_standard(150e-6, ACCURACY_BOUND);
    double step = shape_standard(SHAPE_RECTANGULAR, 0.05e-3);
    assert_near(specification, 8.660254038e-05, 1e-9);
    assert_near(step, 2.886751346e-05, 1e-9);
    struct budget budget = { .count = 0 };
    budget_add(&budget, "accuracy", SHAPE_RECTANGULAR, specification, 1.0, INFINITY);
    budget_add(&budget, "resolution", SHAPE_RECTANGULAR, step, 1.0, INFINITY);
    budget_add(&budget, "repeatability", SHAPE_NORMAL, 3e-6, 1.0, 9.0);
    struct expanded expanded = budget_expand(&budget);
    assert_near(expanded.standard, 9.133637465e-05, 1e-9);
    assert_near(expanded.freedom, 7732725.0, 1e-6);
    /* Twice that would be U with k = 2; one rectangular term dominates, so less is enough. */
    assert_near(2.0 * expanded.standard, 0.0001826727493, 1e-9);
    assert_int_equal(expanded.method, COVERAGE_CONVOLUTION);
    assert_true(expanded.uncertainty > 0.9545 * 150e-6 && expanded.coverage < 1.82);
}

/*
 * Student's t for p = 95.45 % read literally, of which two sigma differ in the
 * sixth digit. Own derivation: the incomplete beta function inverted at 40
 * digits; scipy.stats.t.ppf(0.97725, n) agrees.
 */
static void literal_quantiles(void **state)
{
    (void)state;
    static const double rows[][2] = {
        { 1, 13.9678114878 },  { 2, 4.52655076036 },  { 3, 3.30682992072 },  { 4, 2.8693151697 },
        { 5, 2.64865425428 },  { 9, 2.31980944094 },  { 10, 2.28368161327 }, { 19, 2.14049662991 },
        { 20, 2.13302836189 }, { 30, 2.08684705354 }, { 50, 2.05125077902 }, { 100, 2.02531165268 },
    };
    for (size_t i = 0; i < sizeof(rows) / sizeof(rows[0]); i++) {
        assert_near(coverage_factor(rows[i][0]), rows[i][1], 6e-6);
        assert_true(coverage_factor(rows[i][0]) < rows[i][1]);
    }
}

/*
 * Own derivation, Student's density integrated: t(1) = tan(pi p / 2), t(2) =
 * (2q - 1) sqrt(2 / (4q (1 - q))) with q = (1 + p) / 2.
 */
static void closed_forms(void **state)
{
    (void)state;
    const double p = 0.9544997361036416; /* two sigma */
    double q = (1.0 + p) / 2.0;
    assert_near(coverage_factor(1.0), tan(acos(-1.0) * p / 2.0), 1e-12);
    assert_near(coverage_factor(2.0), (2.0 * q - 1.0) * sqrt(2.0 / (4.0 * q * (1.0 - q))), 1e-12);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(voltmeter_specification),
        cmocka_unit_test(product_of_three_means),
        cmocka_unit_test(end_gauge),
        cmocka_unit_test(t_table),
        cmocka_unit_test(normal_factors),
        cmocka_unit_test(divisors),
        cmocka_unit_test(dominating_terms),
        cmocka_unit_test(hand_held_multimeter),
        cmocka_unit_test(standard_resistor),
        cmocka_unit_test(small_budget),
        cmocka_unit_test(literal_quantiles),
        cmocka_unit_test(closed_forms),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
