/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "core/uncertainty/budget.h"
#include "core/uncertainty/correlation.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <string.h>

#include "core/uncertainty/expand.h"
#include "tests/near.h"

static void bad_contributions_are_refused(void **state)
{
    (void)state;
    struct budget budget = { .count = 0 };
    assert_false(budget_add(&budget, "x", SHAPE_NORMAL, -1.0, 1.0, INFINITY));
    assert_false(budget_add(&budget, "x", SHAPE_NORMAL, NAN, 1.0, INFINITY));
    assert_false(budget_add(&budget, "x", SHAPE_NORMAL, INFINITY, 1.0, INFINITY));
    assert_false(budget_add(&budget, "x", SHAPE_NORMAL, 1.0, NAN, INFINITY));
    assert_false(budget_add(&budget, "x", SHAPE_NORMAL, 1.0, -INFINITY, INFINITY));
    assert_false(budget_add(&budget, "x", SHAPE_NORMAL, 1.0, 1.0, 0.0));
    assert_false(budget_add(&budget, "x", SHAPE_NORMAL, 1.0, 1.0, -3.0));
    assert_false(budget_add(&budget, "x", SHAPE_NORMAL, 1.0, 1.0, NAN));
    /* What is wrong stays wrong when it would come to nothing. */
    assert_false(budget_add(&budget, "x", SHAPE_NORMAL, 0.0, NAN, INFINITY));
    assert_int_equal(budget.count, 0);
}

/* An uncertainty that lacks a term would be too small: there is none then. */
static void what_was_refused_is_not_forgotten(void **state)
{
    (void)state;
    struct budget budget = { .count = 0 };
    struct budget whole = { .count = 0 };
    struct budget both;
    assert_true(budget_add(&budget, "x", SHAPE_NORMAL, 1.0, 1.0, INFINITY));
    assert_true(budget_add(&whole, "y", SHAPE_NORMAL, 1.0, 1.0, INFINITY));
    assert_false(budget_add(&budget, "z", SHAPE_NORMAL, NAN, 1.0, INFINITY));
    assert_true(isnan(budget_combined(&budget)));
    assert_true(isnan(budget_expand(&budget).uncertainty));
    assert_true(budget_combine(&whole, 1.0, &budget, -1.0, NULL, 0, &both));
    assert_true(isnan(budget_expand(&both).uncertainty));
}

static void a_full_budget_takes_no_more(void **state)
{
    (void)state;
    struct budget budget = { .count = 0 };
    for (int i = 0; i < BUDGET_MAX_TERMS; i++)
        assert_true(budget_add(&budget, "x", SHAPE_NORMAL, 1.0, 1.0, INFINITY));
    assert_false(budget_add(&budget, "x", SHAPE_NORMAL, 1.0, 1.0, INFINITY));
    assert_true(budget_add(&budget, "nothing", SHAPE_NORMAL, 0.0, 1.0, INFINITY));
    assert_int_equal(budget.count, BUDGET_MAX_TERMS);
    assert_true(isnan(budget_combined(&budget)));
}

static void nothing_is_left_out(void **state)
{
    (void)state;
    struct budget budget = { .count = 0 };
    assert_true(budget_add(&budget, "x", SHAPE_NORMAL, 0.0, 1.0, 5.0));
    assert_true(budget_add(&budget, "x", SHAPE_NORMAL, 1.0, 0.0, 5.0));
    assert_int_equal(budget.count, 0);
    struct expanded expanded = budget_expand(&budget);
    assert_true(expanded.standard == 0.0 && expanded.uncertainty == 0.0);
    assert_true(expanded.coverage == 2.0 && isinf(expanded.freedom));
}

static void a_long_source_is_cut_between_characters(void **state)
{
    (void)state;
    struct budget budget = { .count = 0 };
    char source[64] = "x";
    while (strlen(source) < 60)
        strcat(source, "Ω");
    assert_true(budget_add(&budget, source, SHAPE_NORMAL, 1.0, 1.0, 1.0));
    assert_int_equal(strlen(budget.terms[0].source), 47);
    strcpy(source, "yx");
    while (strlen(source) < 60)
        strcat(source, "Ω");
    assert_true(budget_add(&budget, source, SHAPE_NORMAL, 1.0, 1.0, 1.0));
    assert_int_equal(strlen(budget.terms[1].source), 46);
}

static void no_coverage_below_one_degree_of_freedom(void **state)
{
    (void)state;
    assert_true(isnan(coverage_factor(0.999)));
    assert_true(isnan(coverage_factor(0.0)));
    assert_true(isnan(coverage_factor(-INFINITY)));
    assert_true(isnan(coverage_factor(NAN)));
    struct budget budget = { .count = 0 };
    assert_true(budget_add(&budget, "x", SHAPE_NORMAL, 1.0, 1.0, 0.5));
    struct expanded expanded = budget_expand(&budget);
    assert_true(isnan(expanded.standard) && isnan(expanded.freedom));
    assert_true(isnan(expanded.coverage) && isnan(expanded.uncertainty));
}

/* A single term gives back its own freedom; rounding must not cost a whole degree of it. */
static void whole_degrees_survive_the_arithmetic(void **state)
{
    (void)state;
    for (int freedom = 1; freedom <= 2000; freedom++) {
        struct budget budget = { .count = 0 };
        budget_add(&budget, "x", SHAPE_NORMAL, 0.3, 0.7, freedom);
        assert_near(budget_freedom(&budget), freedom, 1e-14);
        struct expanded expanded = budget_expand(&budget);
        assert_true(expanded.coverage == coverage_factor(freedom));
    }
}

static void fractions_of_a_degree_are_cut(void **state)
{
    (void)state;
    assert_true(coverage_factor(4.999) == coverage_factor(4.0));
    assert_true(coverage_factor(5.0) < coverage_factor(4.999));
    assert_true(coverage_factor(INFINITY) == 2.0);
}

/* From any freedom to the next the factor falls, and never below that of the normal law. */
static void coverage_falls_towards_two(void **state)
{
    (void)state;
    double previous = INFINITY;
    for (double freedom = 1.0; freedom < 1e12; freedom = ceil(freedom * 1.01)) {
        double factor = coverage_factor(freedom);
        assert_true(factor <= previous && factor >= 2.0);
        previous = factor;
        if (freedom == 1.0)
            freedom = 1.5;
    }
    assert_within(previous, 2.0, 1e-11);
}

static void neither_large_nor_small_powers_spoil_the_result(void **state)
{
    (void)state;
    static const double scales[] = { 1e-200, 1e-90, 1.0, 1e90, 1e200 };
    for (size_t i = 0; i < sizeof(scales) / sizeof(scales[0]); i++) {
        struct budget budget = { .count = 0 };
        budget_add(&budget, "x", SHAPE_NORMAL, 3.0 * scales[i], 1.0, 4.0);
        budget_add(&budget, "y", SHAPE_NORMAL, 4.0 * scales[i], -1.0, 9.0);
        assert_near(budget_combined(&budget), 5.0 * scales[i], 1e-15);
        assert_near(budget_freedom(&budget), 625.0 / (81.0 / 4.0 + 256.0 / 9.0), 1e-14);
    }
}

static void shapes_have_names(void **state)
{
    (void)state;
    assert_string_equal(shape_name(SHAPE_NORMAL), "normal");
    assert_string_equal(shape_name(SHAPE_RECTANGULAR), "rectangular");
    assert_string_equal(shape_name(SHAPE_TRIANGULAR), "triangular");
    assert_string_equal(shape_name(SHAPE_ARCSINE), "arcsine");
    assert_string_equal(shape_name(SHAPE_BIAS), "bias");
    assert_string_equal(coverage_method_name(COVERAGE_NORMAL), "normal");
    assert_string_equal(coverage_method_name(COVERAGE_STUDENT), "student");
    assert_string_equal(coverage_method_name(COVERAGE_CONVOLUTION), "convolution");
}

static void type_a_needs_two_finite_readings(void **state)
{
    (void)state;
    double mean = 7.0;
    double standard = 8.0;
    assert_false(type_a((const double[]) { 1.0 }, 1, &mean, &standard));
    assert_false(type_a((const double[]) { 1.0 }, 0, &mean, &standard));
    assert_false(type_a((const double[]) { 1.0, NAN }, 2, &mean, &standard));
    assert_false(type_a((const double[]) { 1.0, INFINITY }, 2, &mean, &standard));
    assert_false(type_a((const double[]) { 1e308, 1e308 }, 2, &mean, &standard));
    assert_false(type_a((const double[]) { 1e200, -1e200 }, 2, &mean, &standard));
    assert_true(mean == 7.0 && standard == 8.0);
}

static void type_a_of_equal_readings_is_exact(void **state)
{
    (void)state;
    double readings[49];
    for (size_t i = 0; i < 49; i++)
        readings[i] = 0.1;
    double mean = NAN;
    double standard = NAN;
    assert_true(type_a(readings, 49, &mean, &standard));
    assert_near(mean, 0.1, 1e-16);
    assert_within(standard, 0.0, 1e-17);
    assert_true(type_a((const double[]) { 1.0, 3.0 }, 2, &mean, &standard));
    assert_true(mean == 2.0 && standard == 1.0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(bad_contributions_are_refused),
        cmocka_unit_test(what_was_refused_is_not_forgotten),
        cmocka_unit_test(a_full_budget_takes_no_more),
        cmocka_unit_test(nothing_is_left_out),
        cmocka_unit_test(a_long_source_is_cut_between_characters),
        cmocka_unit_test(no_coverage_below_one_degree_of_freedom),
        cmocka_unit_test(whole_degrees_survive_the_arithmetic),
        cmocka_unit_test(fractions_of_a_degree_are_cut),
        cmocka_unit_test(coverage_falls_towards_two),
        cmocka_unit_test(neither_large_nor_small_powers_spoil_the_result),
        cmocka_unit_test(shapes_have_names),
        cmocka_unit_test(type_a_needs_two_finite_readings),
        cmocka_unit_test(type_a_of_equal_readings_is_exact),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
