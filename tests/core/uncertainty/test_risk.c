/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Whether a stated risk is kept, counted: instruments are drawn whose errors are those of a budget,
 * with errors that go one way only among them, and judge what lies on a limit. The risk meant is the
 * specific one of JCGM 106:2012 8.3.2. What is drawn is written afresh and shares nothing with core/.
 */
#include "core/uncertainty/conformity.h"
#include "core/uncertainty/limits.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>

#include <cmocka.h>

enum { DRAWS = 40000, DEAR_DRAWS = 250, SEED = 20261130, BINS = 10 };

/* The errors of a kind of instrument, bounds and deviations in volts. */
struct kind {
    const char *name;
    double normal;
    double few; /* of the mean of five repeated readings */
    double rectangular;
    double triangular;
    double arcsine;
    double inwards; /* bias bound, makes the reading smaller */
    double outwards;
};

static const struct kind kinds[] = {
    { "normal", 1, 0, 0, 0, 0, 0, 0 },
    { "rectangular", 0, 0, 1, 0, 0, 0, 0 },
    { "arcsine", 0, 0, 0, 0, 1, 0, 0 },
    { "five repeats", 0, 1, 0, 0, 0, 0, 0 },
    { "five repeats and a bound", 0, 1, 2, 0, 0, 0, 0 },
    { "bias alone", 0, 0, 0, 0, 0, -1, 0 },
    { "bias and normal", 1, 0, 0, 0, 0, -2, 0 },
    { "bias and rectangular", 0, 0, 1, 0, 0, -5, 0 },
    { "small bias", 1, 0, 1, 0.5, 0, -0.3, 0 },
    { "bias both ways", 0.5, 0, 1, 1, 0, -2, 1 },
    { "bias and five repeats", 0, 1, 1, 0, 0, -1, 0 },
};

static double even(unsigned short state[3])
{
    return 2 * erand48(state) - 1;
}

static double normal(unsigned short state[3])
{
    double u = 1 - erand48(state);
    return sqrt(-2 * log(u)) * cos(2 * M_PI * erand48(state));
}

/* Adds the terms; the standard uncertainty of the mean of five is found anew each time. */
static void make(const struct kind *kind, double of_mean, struct budget *budget)
{
    budget->count = 0;
    budget_add(budget, "normal", SHAPE_NORMAL, kind->normal, 1, INFINITY);
    budget_add(budget, "repeats", SHAPE_NORMAL, of_mean, 1, 4);
    budget_add(budget, "rectangular", SHAPE_RECTANGULAR, kind->rectangular / sqrt(3), 1, INFINITY);
    budget_add(budget, "triangular", SHAPE_TRIANGULAR, kind->triangular / sqrt(6), 1, INFINITY);
    budget_add(budget, "arcsine", SHAPE_ARCSINE, kind->arcsine / sqrt(2), 1, INFINITY);
    budget_add(budget, "inwards", SHAPE_BIAS, fabs(kind->inwards) / sqrt(3), -1, INFINITY);
    budget_add(budget, "outwards", SHAPE_BIAS, kind->outwards / sqrt(3), 1, INFINITY);
}

/* One instrument's error, and its budget. `share` of the bias bounds is really there. */
static double draw(const struct kind *kind, double share, unsigned short state[3],
                   struct budget *budget)
{
    double readings[5], mean = 0, of_mean = 0;
    for (size_t i = 0; i < 5; i++)
        readings[i] = kind->few * sqrt(5) * normal(state);
    if (kind->few > 0)
        assert_true(type_a(readings, 5, &mean, &of_mean));
    make(kind, of_mean, budget);
    return mean + kind->normal * normal(state) + kind->rectangular * even(state) +
           kind->triangular * (even(state) + even(state)) / 2 +
           kind->arcsine * sin(M_PI * even(state)) + share * (kind->inwards + kind->outwards);
}

/* Where each instrument has an uncertainty of its own, each is a convolution of its own. */
static int draws_of(const struct kind *kind)
{
    return kind->few > 0 ? DEAR_DRAWS : DRAWS;
}

/* Share of instruments that pass what lies on the upper limit. */
static double passed(const struct kind *kind, double risk, double share)
{
    unsigned short state[3] = { SEED & 0xffff, 7, (unsigned short)(100 * share) };
    struct limits limits = limits_between(-INFINITY, 100);
    limits.decision = DECISION_RISK;
    limits.risk = risk;
    int count = 0;
    for (int i = 0; i < draws_of(kind); i++) {
        static struct budget budget;
        double value = limits.high + draw(kind, share, state, &budget);
        static double band;
        if (i == 0 || kind->few > 0)
            band = conformity_guard_band(risk, &budget);
        count += limits_judge(&limits, value, band) == VERDICT_PASS;
    }
    return (double)count / draws_of(kind);
}

static void test_the_stated_risk_is_kept(void **state)
{
    (void)state;
    static const double risks[] = { 0.3, 0.05, 0.01 };
    for (size_t i = 0; i < sizeof kinds / sizeof kinds[0]; i++)
        for (size_t j = 0; j < sizeof risks / sizeof risks[0]; j++) {
            double draws = draws_of(&kinds[i]);
            double chance = 4 * sqrt(risks[j] / draws);
            double whole = passed(&kinds[i], risks[j], 1), half = passed(&kinds[i], risks[j], 0.5);
            print_message("seed %d, %s: stated %.3g, actual %.4f, with half of the bias %.4f\n",
                          SEED, kinds[i].name, risks[j], whole, half);
            assert_true(whole <= risks[j] + chance && half <= risks[j] + chance);
            /* Where errors go one way only, and all the way, nothing is given away either. */
            if (kinds[i].outwards == 0 && kinds[i].few == 0 && kinds[i].rectangular == 0)
                assert_true(kinds[i].normal == 0 || whole >= risks[j] - chance);
        }
}

/*
 * Of all readings for which a probability of conforming is stated, at least so many conform: truths
 * spread evenly about the limits, as if nothing were known of them beforehand (JCGM 106 7.2).
 */
static void test_the_stated_probability_is_kept(void **state)
{
    (void)state;
    for (size_t k = 0; k < sizeof kinds / sizeof kinds[0]; k++) {
        double sum[BINS] = { 0 }, good[BINS] = { 0 }, count[BINS] = { 0 };
        unsigned short seeds[3] = { SEED & 0xffff, 11, (unsigned short)k };
        for (int i = 0; i < 2 * DEAR_DRAWS; i++) {
            struct budget budget;
            double truth = 12 * even(seeds);
            double value = truth + draw(&kinds[k], 1, seeds, &budget);
            double stated = conformity_probability(-6, 6, value, &budget);
            assert_true(stated >= 0 && stated <= 1);
            size_t bin = (size_t)fmin(BINS - 1, stated * BINS);
            sum[bin] += stated;
            count[bin]++;
            good[bin] += fabs(truth) <= 6;
        }
        for (size_t i = 0; i < BINS; i++)
            if (count[i] > 0)
                assert_true(good[i] / count[i] >= sum[i] / count[i] - 2 / sqrt(count[i]));
    }
}

/* A budget of one bias: what is nearer to the limit than its bound may be beyond it. */
static void test_one_bias(void **state)
{
    (void)state;
    struct budget budget = { 0 };
    budget_add(&budget, "bandwidth", SHAPE_BIAS, 1 / sqrt(3), -1, INFINITY);
    assert_true(fabs(conformity_guard_band(0.05, &budget) - 1) < 1e-9);
    assert_true(conformity_probability(-INFINITY, 10, 9.5, &budget) == 0);
    assert_true(conformity_probability(-INFINITY, 10, 8.5, &budget) == 1);
    assert_true(isnan(conformity_guard_band(0.6, &budget)));
    assert_true(isnan(conformity_guard_band(NAN, &budget)));
    assert_true(isnan(conformity_probability(0, 1, NAN, &budget)));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_one_bias),
        cmocka_unit_test(test_the_stated_risk_is_kept),
        cmocka_unit_test(test_the_stated_probability_is_kept),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
