/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * core/uncertainty/coverage against what it stands for: random budgets whose errors are
 * drawn a hundred thousand times (JCGM 101 clause 7, seeded), and cases with
 * a closed form.
 */
#include "core/uncertainty/coverage.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>

#include <cmocka.h>

#include "core/uncertainty/expand.h"
#include "tests/near.h"
#include <gsl/gsl_randist.h>

enum { BUDGETS = 300, DRAWS = 100000, SEED = 99 };

static double draw(gsl_rng *random, const struct contribution *term)
{
    double width = term->standard * term->sensitivity;
    double even = 2 * gsl_rng_uniform(random) - 1;
    switch (term->shape) {
    case SHAPE_RECTANGULAR:
        return width * sqrt(3) * even;
    case SHAPE_TRIANGULAR:
        return width * sqrt(6) * (even + 2 * gsl_rng_uniform(random) - 1) / 2;
    case SHAPE_ARCSINE:
        return width * sqrt(2) * sin(acos(-1) * even);
    case SHAPE_BIAS:
        return width * sqrt(3);
    default:
        return width * (isinf(term->freedom) ? gsl_ran_gaussian(random, 1)
                                             : gsl_ran_tdist(random, term->freedom));
    }
}

/* One wide term of a law that is not normal, and up to six others. */
static void random_budget(gsl_rng *random, struct budget *budget)
{
    static const enum shape shapes[] = { SHAPE_RECTANGULAR, SHAPE_RECTANGULAR, SHAPE_ARCSINE,
                                         SHAPE_TRIANGULAR,  SHAPE_BIAS,        SHAPE_NORMAL };
    size_t others = gsl_rng_uniform_int(random, 7);
    budget->count = 0;
    budget_add(budget, "wide", shapes[gsl_rng_uniform_int(random, 3)], 1, 1, INFINITY);
    for (size_t i = 0; i < others; i++) {
        enum shape shape = shapes[gsl_rng_uniform_int(random, 6)];
        budget_add(budget, "other", shape, 0.5 * gsl_rng_uniform(random), -1, INFINITY);
    }
    if (gsl_rng_uniform_int(random, 3) == 0)
        budget_add(budget, "few", SHAPE_NORMAL, 0.5 * gsl_rng_uniform(random), 1,
                   (double)(3 + gsl_rng_uniform_int(random, 8)));
}

static void random_budgets_are_covered(void **state)
{
    (void)state;
    gsl_rng *random = gsl_rng_alloc(gsl_rng_mt19937);
    gsl_rng_set(random, SEED);
    for (int i = 0; i < BUDGETS; i++) {
        struct budget budget;
        random_budget(random, &budget);
        double half = coverage_half_width(&budget);
        int held = 0;
        for (int n = 0; n < DRAWS; n++) {
            double error = 0;
            for (size_t t = 0; t < budget.count; t++)
                error += draw(random, &budget.terms[t]);
            held += fabs(error) <= half;
        }
        /*
         * Five standard deviations of the count are 0.33 %. Upwards there is more room: small
         * Student terms count with their two-sigma width, which beside an arcsine is much.
         */
        double share = (double)held / DRAWS;
        assert_true(share > 0.9545 - 0.0035 && share < 0.9545 + 0.0125);
    }
    gsl_rng_free(random);
}

/*
 * Own derivation, rectangular and normal: P = the integral of the normal law's
 * probability over the rectangle.
 */
static void one_rectangle_in_noise(void **state)
{
    (void)state;
    for (double sigma = 0.02; sigma < 3; sigma *= 1.5) {
        struct budget budget = { .count = 0 };
        budget_add(&budget, "a", SHAPE_RECTANGULAR, 1 / sqrt(3), 1, INFINITY);
        budget_add(&budget, "s", SHAPE_NORMAL, sigma, 1, INFINITY);
        double half = coverage_half_width(&budget);
        double held = 0;
        for (int i = 0; i < 20000; i++) {
            double centre = -1 + (i + 0.5) / 10000;
            held +=
                (erf((half - centre) / sigma / sqrt(2)) + erf((half + centre) / sigma / sqrt(2))) /
                40000;
        }
        assert_within(held, 0.954499736, 3e-5);
    }
}

static void bias_is_held_whole(void **state)
{
    (void)state;
    struct budget budget = { .count = 0 };
    budget_add(&budget, "up", SHAPE_BIAS, 0.3 / sqrt(3), 1, INFINITY);
    assert_near(coverage_half_width(&budget), 0.3, 1e-12);
    budget_add(&budget, "down", SHAPE_BIAS, 0.2 / sqrt(3), -1, INFINITY);
    assert_near(coverage_half_width(&budget), 0.3, 1e-12);
    budget_add(&budget, "up too", SHAPE_BIAS, 0.2 / sqrt(3), 1, INFINITY);
    assert_near(budget_expand(&budget).uncertainty, 0.5, 1e-12);
    assert_int_equal(budget_expand(&budget).method, COVERAGE_CONVOLUTION);
}

static void normal_budgets_stay_with_students_t(void **state)
{
    (void)state;
    struct budget budget = { .count = 0 };
    budget_add(&budget, "a", SHAPE_NORMAL, 1, 1, INFINITY);
    budget_add(&budget, "b", SHAPE_RECTANGULAR, 0.5, 1, INFINITY);
    assert_false(coverage_is_special(&budget));
    assert_int_equal(budget_expand(&budget).method, COVERAGE_NORMAL);
    budget_add(&budget, "c", SHAPE_NORMAL, 1, 1, 3);
    assert_int_equal(budget_expand(&budget).method, COVERAGE_STUDENT);
    budget = (struct budget) { .count = 0 };
    assert_true(isnan(coverage_half_width(&budget)));
    assert_false(coverage_is_special(&budget));
}

/* Only ratios count: the same budget in another unit has the same k. */
static void scale_does_not_matter(void **state)
{
    (void)state;
    static const double scales[] = { 1e-150, 1e-9, 1, 1e9, 1e150 };
    double first = NAN;
    for (size_t i = 0; i < sizeof scales / sizeof scales[0]; i++) {
        struct budget budget = { .count = 0 };
        budget_add(&budget, "a", SHAPE_RECTANGULAR, scales[i], 1, INFINITY);
        budget_add(&budget, "b", SHAPE_ARCSINE, 0.4 * scales[i], -1, INFINITY);
        budget_add(&budget, "c", SHAPE_NORMAL, 0.4 * scales[i], 1, 5);
        double coverage = budget_expand(&budget).coverage;
        assert_near(coverage, i == 0 ? coverage : first, 1e-9);
        first = coverage;
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(random_budgets_are_covered),
        cmocka_unit_test(one_rectangle_in_noise),
        cmocka_unit_test(bias_is_held_whole),
        cmocka_unit_test(normal_budgets_stay_with_students_t),
        cmocka_unit_test(scale_does_not_matter),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
