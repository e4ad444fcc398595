/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Control charts against published examples. Source of all: NIST/SEMATECH
 * e-Handbook of Statistical Methods, 6.3.2.4 (moving average) and 2.6.2 (check standard).
 */
#include "core/course/control_chart.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <math.h>

#include "tests/near.h"

enum { WINDOW = 20 };

#define COUNT(list) (sizeof(list) / sizeof *(list))

/* 6.3.2.4: weight 0.3, from 50, s 2.0539. */
static const double readings[] = {
    52.0, 47.0, 53.0, 49.3, 50.1, 47.0, 51.0, 50.1, 51.2, 50.5,
    49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1,
};
static const double averages[] = {
    50.6,  49.52, 50.56, 50.18, 50.16, 49.21, 49.75, 49.85, 50.26, 50.33,
    50.11, 49.36, 49.52, 50.05, 49.38, 49.92, 50.73, 51.23, 51.94, 51.99,
};

static void the_moving_average_comes_out(void **state)
{
    double average = 50;
    (void)state;
    for (size_t i = 0; i < COUNT(readings); i++) {
        average = control_average(average, readings[i], 0.3);
        assert_true(fabs(average - averages[i]) <= 0.005);
    }
    assert_true(fabs(50 + control_average_limit(2.0539, 0.3, 3) - 52.5884) < 1e-4);
}

/* 2.6.2: resistivity of a check standard on 25 occasions; centre 97.06984, s 0.02680. */
static const double occasions[] = {
    97.07,  97.049, 97.048, 97.084, 97.106, 97.014, 97.047, 97.078, 97.065,
    97.061, 97.06,  97.102, 97.096, 97.035, 97.114, 97.069, 97.095, 97.088,
    97.079, 97.016, 97.051, 97.07,  97.065, 97.111, 97.073,
};

static void the_check_standard_comes_out(void **state)
{
    struct baseline baseline = { 0 };
    (void)state;
    for (size_t i = 0; i < COUNT(occasions); i++)
        baseline_add(&baseline, occasions[i]);
    double deviation = sqrt(baseline.squares / 24);
    assert_true(fabs(baseline.mean - 97.06984) < 5e-6);
    assert_true(fabs(deviation - 0.02680) < 5e-6);
    assert_true(fabs(baseline.mean - 2 * deviation - 97.01624) < 1e-5);
    assert_true(fabs(baseline.mean + 2 * deviation - 97.12344) < 1e-5);
}

/* Within a chart: a jump of five deviations is sudden, of one and a half lasts. */
static void what_is_sudden_and_what_lasts(void **state)
{
    static const double shifts[] = { 0, 1.5, 5 };
    static const enum control expected[] = { CONTROL_WELL, CONTROL_LASTING, CONTROL_SUDDEN };
    (void)state;
    for (size_t s = 0; s < COUNT(shifts); s++) {
        struct control_chart chart = { .window = WINDOW };
        enum control last = CONTROL_WELL;
        for (int i = 0; i < WINDOW + 30; i++) {
            double scatter = i % 2 ? 1 : -1;
            last = control_chart_add(&chart, 100 + scatter + (i >= WINDOW ? shifts[s] : 0), 0);
        }
        assert_int_equal(last, expected[s]);
    }
}

/*
 * Readings of a coarse display that are all alike: the limits are the display's. A step of it is no alarm, one
 * that stays is after a while, three at once are sudden. Without a known step nothing is said of
 * what never changed. Own derivation of the figures: half a step is the deviation.
 */
static void a_coarse_display_has_limits(void **state)
{
    static const struct {
        double steps;
        int after;
        enum control expected;
    } rows[] = { { 0, 30, CONTROL_WELL },
                 { 1, 1, CONTROL_WELL },
                 { 1, 10, CONTROL_LASTING },
                 { 3, 1, CONTROL_SUDDEN } };
    (void)state;
    for (size_t r = 0; r < COUNT(rows); r++) {
        struct control_chart chart = { .window = WINDOW };
        enum control last = CONTROL_WELL;
        for (int i = 0; i < WINDOW; i++)
            control_chart_add(&chart, 5, 0.01);
        assert_near(control_chart_deviation(&chart), 0.005, 1e-12);
        for (int i = 0; i < rows[r].after; i++)
            last = control_chart_add(&chart, 5 + 0.01 * rows[r].steps, 0.01);
        assert_int_equal(last, rows[r].expected);
    }
    struct control_chart chart = { .window = WINDOW };
    for (int i = 0; i < 3 * WINDOW; i++)
        assert_int_equal(control_chart_add(&chart, 5, 0), CONTROL_WELL);
    assert_true(isnan(control_chart_deviation(&chart)));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_moving_average_comes_out),
        cmocka_unit_test(the_check_standard_comes_out),
        cmocka_unit_test(what_is_sudden_and_what_lasts),
        cmocka_unit_test(a_coarse_display_has_limits),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
