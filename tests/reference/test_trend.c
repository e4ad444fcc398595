/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The straight line against certified values. */
#include "core/course/trend.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <math.h>

#include "tests/near.h"

/*
 * NIST Statistical Reference Datasets, linear regression, "Norris" (lower
 * level of difficulty): an ozone monitor's calibration. Data and certified
 * values from memory; the certified digits come out only of the right data.
 */
static const double norris[][2] = {
    { 0.2, 0.1 },     { 337.4, 338.8 }, { 118.2, 118.1 }, { 884.6, 888.0 }, { 10.1, 9.2 },
    { 226.5, 228.1 }, { 666.3, 668.5 }, { 996.3, 998.5 }, { 448.6, 449.1 }, { 777.0, 778.9 },
    { 558.2, 559.2 }, { 0.4, 0.3 },     { 0.6, 0.1 },     { 775.5, 778.1 }, { 666.9, 668.8 },
    { 338.0, 339.3 }, { 447.5, 448.9 }, { 11.6, 10.8 },   { 556.0, 557.7 }, { 228.1, 228.3 },
    { 995.8, 998.0 }, { 887.6, 888.8 }, { 120.2, 119.6 }, { 0.3, 0.3 },     { 0.3, 0.6 },
    { 556.8, 557.6 }, { 339.1, 339.3 }, { 887.2, 888.0 }, { 999.0, 998.5 }, { 779.0, 778.9 },
    { 11.1, 10.2 },   { 118.3, 117.6 }, { 229.2, 228.9 }, { 669.1, 668.4 }, { 448.9, 449.2 },
    { 0.5, 0.2 },
};

static void the_norris_line_comes_out(void **state)
{
    (void)state;
    struct trend trend = { 0 };
    struct trend_line line;
    for (size_t i = 0; i < sizeof norris / sizeof norris[0]; i++)
        assert_true(trend_add(&trend, norris[i][0], norris[i][1]));
    assert_true(trend_fit(&trend, &line));
    assert_near(line.slope, 1.00211681802045, 1e-13);
    assert_near(line.slope_standard, 0.429796848199937e-03, 1e-12);
    double intercept = line.level - line.slope * line.centre;
    assert_near(intercept, -0.262323073774029, 1e-12);
    assert_near(hypot(line.level_standard, line.slope_standard * line.centre), 0.232818234301152,
                1e-12);
    assert_near(line.residual, 0.884796396144373, 1e-12);
    assert_true(line.freedom == 34);
}

/* Own derivation: two points leave no freedom, and points at one time no slope. */
static void too_little_has_no_line(void **state)
{
    (void)state;
    struct trend trend = { 0 };
    struct trend_line line;
    assert_false(trend_add(&trend, NAN, 1));
    assert_false(trend_add(&trend, 1, INFINITY));
    for (int i = 0; i < 2; i++)
        assert_true(trend_add(&trend, i, i));
    assert_false(trend_fit(&trend, &line));
    struct trend still = { 0 };
    for (int i = 0; i < 5; i++)
        assert_true(trend_add(&still, 7, i));
    assert_false(trend_fit(&still, &line));
}

/* Own derivation: 2 x + noise meets 100 at 50; a slope within its own uncertainty meets nothing. */
int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_norris_line_comes_out),
        cmocka_unit_test(too_little_has_no_line),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
