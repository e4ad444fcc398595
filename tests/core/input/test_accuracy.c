/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "core/input/accuracy.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "tests/near.h"

/* Invented: 0.02 % of reading + 0.01 % of range + 3 counts + 1 mV; 15 and 12 ppm per degree. */
static const struct accuracy every_term = {
    .reading = 0.0002,
    .range = 0.0001,
    .counts = 3.0,
    .fixed = 0.001,
    .temperature_reading = 0.000015,
    .temperature_range = 0.000012,
    .temperature_low = 16.0,
    .temperature_high = 31.0,
    .level = ACCURACY_BOUND,
};

static void an_unknown_temperature_gives_no_number(void **state)
{
    (void)state;
    assert_true(isnan(accuracy_limit(&every_term, 5.0, 10.0, 0.0001, NAN)));
}

static void an_unknown_temperature_is_no_matter_without_a_coefficient(void **state)
{
    (void)state;
    struct accuracy accuracy = every_term;
    accuracy.temperature_reading = 0.0;
    accuracy.temperature_range = 0.0;
    assert_within(accuracy_limit(&accuracy, 5.0, 10.0, 0.0001, NAN), 0.0033, 1e-15);
}

static void a_reading_that_is_no_number_gives_none(void **state)
{
    (void)state;
    assert_true(isnan(accuracy_limit(&every_term, NAN, 10.0, 0.0001, 23.0)));
    assert_true(!isfinite(accuracy_limit(&every_term, INFINITY, 10.0, 0.0001, 23.0)));
}

/* 0.001 + 0.001 + 0.0003 + 0.001, by hand. */
static void the_terms_add_up(void **state)
{
    (void)state;
    assert_within(accuracy_limit(&every_term, 5.0, 10.0, 0.0001, 23.0), 0.0033, 1e-15);
    assert_within(accuracy_limit(&every_term, -5.0, 10.0, 0.0001, 23.0), 0.0033, 1e-15);
    assert_within(accuracy_limit(&every_term, 0.0, 10.0, 0.0001, 23.0), 0.0023, 1e-15);
}

/* 0.000015 * 5 + 0.000012 * 10 = 0.000195 per degree, by hand. */
static void temperature_counts_from_the_edge_of_the_band(void **state)
{
    (void)state;
    assert_within(accuracy_limit(&every_term, -5.0, 10.0, 0.0001, 14.0), 0.00369, 1e-15);
    assert_within(accuracy_limit(&every_term, 5.0, 10.0, 0.0001, 34.0), 0.003885, 1e-15);
    assert_within(accuracy_limit(&every_term, 5.0, 10.0, 0.0001, 16.0), 0.0033, 1e-15);
    assert_within(accuracy_limit(&every_term, 5.0, 10.0, 0.0001, 31.0), 0.0033, 1e-15);
}

/* JCGM 100:2008 4.3.7 (bound) and Table G.1 (quantiles). */
static void the_level_says_what_the_limit_means(void **state)
{
    (void)state;
    assert_near(accuracy_standard(1.0, ACCURACY_BOUND), 0.5773502691896258, 1e-15);
    assert_near(accuracy_standard(1.959963984540054, ACCURACY_NORMAL_95), 1.0, 1e-15);
    assert_near(accuracy_standard(2.575829303548901, ACCURACY_NORMAL_99), 1.0, 1e-15);
    assert_int_equal(accuracy_shape(ACCURACY_BOUND), SHAPE_RECTANGULAR);
    assert_int_equal(accuracy_shape(ACCURACY_NORMAL_95), SHAPE_NORMAL);
    assert_int_equal(accuracy_shape(ACCURACY_NORMAL_99), SHAPE_NORMAL);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(an_unknown_temperature_gives_no_number),
        cmocka_unit_test(an_unknown_temperature_is_no_matter_without_a_coefficient),
        cmocka_unit_test(a_reading_that_is_no_number_gives_none),
        cmocka_unit_test(the_terms_add_up),
        cmocka_unit_test(temperature_counts_from_the_edge_of_the_band),
        cmocka_unit_test(the_level_says_what_the_limit_means),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
