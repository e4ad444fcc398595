/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Limits of error from makers' specifications. */
#include "core/input/accuracy.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "tests/near.h"

struct specification {
    double reading; /* fraction */
    double range;
    double counts;
    double value;
    double full_scale;
    double resolution;
    double limit;
};

static void check(const struct specification *given)
{
    const struct accuracy accuracy = { .reading = given->reading,
                                       .range = given->range,
                                       .counts = given->counts };
    double limit =
        accuracy_limit(&accuracy, given->value, given->full_scale, given->resolution, 23.0);
    assert_near(limit, given->limit, 1e-12);
}

/*
 * limit = |reading| p + range q + counts x step: common practice, no source
 * (makers' guides work their examples so). Results are own derivation, the line
 * in numbers; beside a book's, what it prints.
 */
static void terms_add_linearly(void **state)
{
    (void)state;
    static const struct specification cases[] = {
        /* 5 V x 20e-6 + 10 V x 5e-6 */
        { 0.000020, 0.000005, 0.0, 5.0, 10.0, 0.0, 150e-6 },
        /* 2 V x 0.08 % + 2 mV */
        { 0.0008, 0.0, 2.0, 2.0, 2.0, 0.001, 3.6e-3 },
        /* 100 V x 1 % + 0.2 V */
        { 0.01, 0.0, 2.0, 100.0, 200.0, 0.1, 1.2 },
        /* 2 V x 0.5 % + 3 mV */
        { 0.005, 0.0, 3.0, 2.0, 2.0, 0.001, 0.013 },
        /* 1.755 V x 0.5 % + 1 mV */
        { 0.005, 0.0, 1.0, 1.755, 2.0, 0.001, 0.009775 },
        /* 166.51 mV x 0.1 % + 0.04 mV */
        { 0.001, 0.0, 4.0, 166.51e-3, 200e-3, 0.01e-3, 0.20651e-3 },
        /* 30 mohm x 0.014 % + 100 mohm x 0.040 % */
        { 0.00014, 0.0004, 0.0, 30e-3, 100e-3, 0.0, 0.0442e-3 },
        /* Bell, Electronic Instrumentation and Measurements (author and title from memory),
           Example 6-2, p. 149, digital: 0.22 V. */
        { 0.006, 0.0, 1.0, 20.0, 200.0, 0.1, 0.22 },
        /* The same example, analogue 2 % of 25 V: 0.5 V. */
        { 0.0, 0.02, 0.0, 20.0, 25.0, 0.0, 0.5 },
        /* 2 V x 0.5 % + 5 mV */
        { 0.005, 0.0, 1.0, 2.0, 5.0, 0.005, 0.015 },
        /* JCGM 100:2008 4.3.7 Example 2 (from memory): 15 uV. */
        { 14e-6, 2e-6, 0.0, 0.928571, 1.0, 0.0, 14.999994e-6 },
    };
    for (size_t i = 0; i < sizeof(cases) / sizeof(cases[0]); i++) {
        check(&cases[i]);
        struct specification negative = cases[i];
        negative.value = -negative.value;
        check(&negative);
    }
}

/*
 * 0.5 V on the 1 V range, 20 ppm + 20 ppm, 1 ppm per degree outside 18 to 28
 * degrees, both inside: common practice, no source. Own derivation: 30 uV +
 * degrees x 1 uV where the coefficient is of the range (second column), +
 * degrees x 0.5 uV where it is of the reading (third).
 */
static void temperature_coefficient(void **state)
{
    (void)state;
    static const double rows[][3] = {
        { 10, 38e-6, 34e-6 }, { 17, 31e-6, 30.5e-6 }, { 18, 30e-6, 30e-6 },   { 23, 30e-6, 30e-6 },
        { 28, 30e-6, 30e-6 }, { 29, 31e-6, 30.5e-6 }, { 33, 35e-6, 32.5e-6 }, { 40, 42e-6, 36e-6 },
    };
    struct accuracy of_range = {
        .reading = 20e-6, .range = 20e-6, .temperature_low = 18.0, .temperature_high = 28.0
    };
    struct accuracy of_reading = of_range;
    of_range.temperature_range = 1e-6;
    of_reading.temperature_reading = 1e-6;
    for (size_t i = 0; i < sizeof(rows) / sizeof(rows[0]); i++) {
        assert_near(accuracy_limit(&of_range, 0.5, 1.0, 0.0, rows[i][0]), rows[i][1], 1e-12);
        assert_near(accuracy_limit(&of_reading, 0.5, 1.0, 0.0, rows[i][0]), rows[i][2], 1e-12);
    }
}

/*
 * Why the lowest range is best. Own derivation: 35 ppm of the reading + 7 ppm
 * of the range, over sqrt(3) by JCGM 100:2008 4.3.7.
 */
static void the_lowest_range_is_best(void **state)
{
    (void)state;
    static const double rows[][4] = {
        { 0.5, 1.0, 24.5e-6, 14.1450816e-6 },    { 0.5, 10.0, 87.5e-6, 50.51814855e-6 },
        { 0.95, 1.0, 40.25e-6, 23.23834833e-6 }, { 0.95, 10.0, 103.25e-6, 59.61141529e-6 },
        { 9.5, 10.0, 402.5e-6, 232.3834833e-6 },
    };
    const struct accuracy accuracy = { .reading = 35e-6, .range = 7e-6 };
    for (size_t i = 0; i < sizeof(rows) / sizeof(rows[0]); i++) {
        double limit = accuracy_limit(&accuracy, rows[i][0], rows[i][1], 0.0, 23.0);
        assert_near(limit, rows[i][2], 1e-10);
        assert_near(accuracy_standard(limit, ACCURACY_BOUND), rows[i][3], 1e-9);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(terms_add_linearly),
        cmocka_unit_test(temperature_coefficient),
        cmocka_unit_test(the_lowest_range_is_best),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
