/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Probabilities of conforming, guard bands and ratios of JCGM 106:2012 and
 * ILAC-G8:09/2019.
 */
#include "core/uncertainty/conformity.h"
#include "core/uncertainty/limits.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "core/uncertainty/expand.h"
#include "tests/near.h"

/* One normal error. */
static struct budget normal_error(double standard, double freedom)
{
    struct budget budget = { 0 };
    assert_true(budget_add(&budget, "error", SHAPE_NORMAL, standard, 1, freedom));
    return budget;
}

static double probability(double low, double high, double value, double standard)
{
    const struct budget budget = normal_error(standard, INFINITY);
    return conformity_probability(low, high, value, &budget);
}

static double guard_band(double risk, double standard, double freedom)
{
    const struct budget budget = normal_error(standard, freedom);
    return conformity_guard_band(risk, &budget);
}

/* JCGM 106:2012 7.4 Example; printed 0.66 (from memory). */
static void two_limits(void **state)
{
    (void)state;
    assert_near(probability(12.5, 16.3, 13.6, 1.8), 0.662629786495, 1e-9);
    assert_near(probability(-INFINITY, 12.5, 13.6, 1.8), 0.270563012236, 1e-9);
    assert_near(probability(16.3, INFINITY, 13.6, 1.8), 0.0668072012689, 1e-9);
}

/* JCGM 106:2012 7.3.3 Examples 1 and 2 (numbers from memory). */
static void one_limit(void **state)
{
    (void)state;
    assert_near(probability(-INFINITY, -5.4, -5.47, 0.05), 0.919243340766, 1e-9);
    assert_near(probability(490, INFINITY, 507, 8), 0.983206693552, 1e-9);
}

/* JCGM 106:2012 7.3 Table 1 (digits from memory; recomputed). */
static void quantiles(void **state)
{
    (void)state;
    static const double rows[][2] = {
        { 0.8, 0.8416212336 }, { 0.9, 1.281551566 },   { 0.95, 1.644853627 },
        { 0.99, 2.326347874 }, { 0.999, 3.090232306 },
    };
    for (size_t i = 0; i < sizeof(rows) / sizeof(rows[0]); i++)
        assert_near(guard_band(1 - rows[i][0], 1.0, INFINITY), rows[i][1], 1e-8);
    /*
     * Few degrees of freedom: the one-sided t for 95 % and 4 is the two-sided one
     * for 90 %, NIST TN 1297 B.1.
     */
    assert_near(guard_band(0.05, 1.0, 4.9), 2.13185, 3e-6);
}

/* JCGM 106:2012 8.3, speed enforcement (from memory): above v_max the limit of 100 is exceeded. */
static void guarded_rejection(void **state)
{
    (void)state;
    const double v_max = 106.5876095;
    double risk = probability(-INFINITY, 100.0, v_max, 0.02 * v_max);
    assert_near(risk, 0.001, 1e-6);
    assert_within(v_max - guard_band(0.001, 0.02 * v_max, INFINITY), 100.0, 1e-6);
}

/* ILAC-G8:09/2019 table of rules: w = r U, TL = 1, U = 0.25; risk at the acceptance limit. */
static void guard_bands(void **state)
{
    (void)state;
    static const struct {
        double r;
        double acceptance;
        double risk;
    } rows[] = {
        { 3.0, 0.25, 9.865877e-10 },   { 1.5, 0.625, 0.001349898 }, { 1.0, 0.75, 0.022750132 },
        { 0.83, 0.7925, 0.048457226 }, { 0.0, 1.0, 0.5 },
    };
    const struct budget budget = relative_stated(0.25);
    const struct expanded expanded = budget_expand(&budget);
    for (size_t i = 0; i < sizeof(rows) / sizeof(rows[0]); i++) {
        struct limits limits = limits_between(-INFINITY, 1.0);
        limits.guard = rows[i].r;
        double w = limits_guard_band(&limits, &expanded, &budget);
        assert_within(1.0 - w, rows[i].acceptance, 1e-15);
        assert_within(1 - probability(-INFINITY, 1.0, 1.0 - w, 0.125), rows[i].risk, 1e-8);
        limits.decision = DECISION_RISK;
        limits.risk = rows[i].risk;
        assert_within(1.0 - limits_guard_band(&limits, &expanded, &budget), rows[i].acceptance,
                      1e-6);
    }
}

/* Own derivation: P(nonconforming) = Phi((y - TL) / u), by JCGM 106:2012 7.3; TL = 1, u = 0.125. */
static void probabilities(void **state)
{
    (void)state;
    static const double rows[][2] = {
        { 0.7, 0.0081975359 }, { 0.75, 0.022750132 }, { 0.7501, 0.022793359 },
        { 0.9, 0.2118554 },    { 1.0, 0.5 },          { 1.0001, 0.50031915 },
        { 1.1, 0.7881446 },    { 1.25, 0.97724987 },  { 1.2501, 0.97729303 },
        { 1.4, 0.99931286 },
    };
    for (size_t i = 0; i < sizeof(rows) / sizeof(rows[0]); i++)
        assert_within(1 - probability(-INFINITY, 1.0, rows[i][0], 0.125), rows[i][1], 1e-8);
}

/*
 * TUR = TL / U (ANSI/NCSL Z540.3 5.3). Own derivation: acceptance limits TL - w
 * for w = U and for w = 0.83 U (ISO 14253-1:2017).
 */
static void ratios(void **state)
{
    (void)state;
    static const double rows[][3] = {
        { 1.5, 0.3333333333333, 0.4466666666667 },
        { 2, 0.5, 0.585 },
        { 3, 0.6666666666667, 0.7233333333333 },
        { 4, 0.75, 0.7925 },
        { 5, 0.8, 0.834 },
        { 10, 0.9, 0.917 },
    };
    for (size_t i = 0; i < sizeof(rows) / sizeof(rows[0]); i++) {
        double u = 1.0 / rows[i][0];
        const struct budget budget = relative_stated(u);
        const struct expanded expanded = budget_expand(&budget);
        struct limits limits = limits_between(-1.0, 1.0);
        assert_near(conformity_ratio(-1.0, 1.0, u), rows[i][0], 1e-12);
        assert_within(1 - limits_guard_band(&limits, &expanded, &budget), rows[i][1], 1e-9);
        limits.guard = 0.83;
        assert_within(1 - limits_guard_band(&limits, &expanded, &budget), rows[i][2], 1e-9);
    }
}

/* Density of a normal process of standard deviation 0.12, for the next check. */
static double process(double x)
{
    return exp(-0.5 * x * x / 0.12 / 0.12) / (0.12 * sqrt(2 * acos(-1.0)));
}

/* JCGM 106:2012 9.5, formulas; the numbers are own: global risks of simple acceptance. */
static void global_risk(void **state)
{
    (void)state;
    const double step = 1e-5;
    double consumer = 0;
    double producer = 0;
    for (double x = step / 2; x < 1.2; x += step) {
        double accepted = probability(-0.2, 0.2, x, 0.04);
        if (x > 0.2)
            consumer += 2 * step * process(x) * accepted;
        else
            producer += 2 * step * process(x) * (1 - accepted);
    }
    assert_within(consumer, 0.018942207, 1e-7);
    assert_within(producer, 0.0372078, 1e-7);
    assert_near(probability(-0.2, 0.2, 0, 0.12), 0.9044192955, 1e-9);
    assert_near(conformity_ratio(-0.2, 0.2, 2 * 0.04), 2.5, 1e-12);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(two_limits),  cmocka_unit_test(one_limit),
        cmocka_unit_test(quantiles),   cmocka_unit_test(guarded_rejection),
        cmocka_unit_test(guard_bands), cmocka_unit_test(probabilities),
        cmocka_unit_test(ratios),      cmocka_unit_test(global_risk),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
