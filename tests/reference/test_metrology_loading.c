/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What a voltmeter's resistance does to the circuit. */
#include "core/input/loading.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "tests/near.h"

static double parallel(double a, double b)
{
    return a * b / (a + b);
}

static struct loading loaded(double source_ohm, double load_ohm)
{
    const struct source source = { .resistance = source_ohm };
    const struct load load = { .resistance = load_ohm };
    struct loading loading = loading_resistive(&source, &load);
    assert_true(loading.known);
    return loading;
}

/*
 * Helfrick and Cooper, Modern Electronic Instrumentation and Measurement
 * Techniques, Example 4-5 (p. 62): 150 V, 100 k + 50 k, 50 V range. The book prints
 * 48.37 V and 3.26 %, having rounded 47.619 k to 47.6 k; here the exact figures.
 */
static void two_meters(void **state)
{
    (void)state;
    double source = parallel(100e3, 50e3);
    struct loading poor = loaded(source, 1000.0 * 50.0);
    struct loading good = loaded(source, 20000.0 * 50.0);
    assert_near(50.0 * poor.ratio, 30.0, 1e-9);
    assert_near(poor.relative, -0.40, 1e-9);
    assert_near(50.0 * good.ratio, 48.3870967742, 1e-9);
    assert_near(good.relative, -0.0322580645161, 1e-9);
}

/*
 * Kalsi, Electronic Instrumentation, Example 4.8 (book from memory): 20 kohm
 * per volt, 50 V, 45 k + 5 k. Results own derivation: the divider. The larger
 * range loads less.
 */
static void the_range_changes_the_loading(void **state)
{
    (void)state;
    static const double rows[][3] = {
        { 5.0, 4.784688995, 4.3062201 },
        { 10.0, 4.88997555, 2.200489 },
        { 30.0, 4.962779156, 0.74441687 },
    };
    double source = parallel(45e3, 5e3);
    for (size_t i = 0; i < 3; i++) {
        struct loading loading = loaded(source, 20000.0 * rows[i][0]);
        assert_near(5.0 * loading.ratio, rows[i][1], 1e-9);
        assert_near(-100.0 * loading.relative, rows[i][2], 1e-7);
    }
}

/*
 * Morris, Measurement and Instrumentation Principles (from memory), network of
 * five resistors seen as 250 ohm: printed 5 % for 4750 ohm, 24 750 ohm for 1 %.
 */
static void thevenin(void **state)
{
    (void)state;
    assert_near(loaded(250.0, 4750.0).ratio, 0.95, 1e-12);
    assert_near(loaded(250.0, 4750.0).relative, -0.05, 1e-12);
    assert_near(loaded(250.0, 24750.0).relative, -0.01, 1e-12);
}

/* Own derivation: 6 V, 1 k + 2 k, so 4 V behind 1 k || 2 k, times Rm / (Rm + 2000 / 3). */
static void three_voltmeters(void **state)
{
    (void)state;
    static const double rows[][2] = {
        { 1e6, 3.99733511 },
        { 1e4, 3.75 },
        { 667.0, 2.000499875 },
    };
    for (size_t i = 0; i < 3; i++)
        assert_near(4.0 * loaded(parallel(1e3, 2e3), rows[i][0]).ratio, rows[i][1], 1e-9);
}

/*
 * 12 V, 500 + 500 ohm, 7500 ohm: Morris and Langari, Measurement and
 * Instrumentation, Fig. 3.9 (from memory). Own derivation: 6 x 7500 / 7750.
 */
static void low_resistance_voltmeter(void **state)
{
    (void)state;
    struct loading loading = loaded(parallel(500.0, 500.0), 7500.0);
    assert_near(6.0 * loading.ratio, 5.8064516129, 1e-9);
    assert_near(100.0 * loading.relative, -3.225806452, 1e-9);
}

/*
 * Own derivation, the divider: read over true Rin / (Rs + Rin), factor 1 +
 * Rs/Rin, error in per cent.
 */
static void correction(void **state)
{
    (void)state;
    static const double rows[][5] = {
        { 0.0, 1e6, 1.0, 1.0, 0.0 },
        { 0.0, 1e7, 1.0, 1.0, 0.0 },
        { 50.0, 1e6, 0.9999500024999, 1.00005, -0.004999750012 },
        { 50.0, 1e7, 0.999995000025, 1.000005, -0.0004999975 },
        { 1e3, 1e6, 0.999000999001, 1.001, -0.0999000999 },
        { 1e3, 1e7, 0.999900009999, 1.0001, -0.0099990001 },
        { 1e4, 1e6, 0.990099009901, 1.01, -0.9900990099 },
        { 1e4, 1e7, 0.999000999001, 1.001, -0.0999000999 },
        { 1e5, 1e6, 0.9090909090909, 1.1, -9.090909091 },
        { 1e5, 1e7, 0.990099009901, 1.01, -0.9900990099 },
        { 1e6, 1e6, 0.5, 2.0, -50.0 },
        { 1e6, 1e7, 0.9090909090909, 1.1, -9.090909091 },
    };
    for (size_t i = 0; i < sizeof(rows) / sizeof(rows[0]); i++) {
        struct loading loading = loaded(rows[i][0], rows[i][1]);
        assert_near(loading.ratio, rows[i][2], 1e-12);
        assert_near(loading.factor, rows[i][3], 1e-12);
        assert_near(100.0 * loading.relative, rows[i][4], 1e-9);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(two_meters),
        cmocka_unit_test(the_range_changes_the_loading),
        cmocka_unit_test(thevenin),
        cmocka_unit_test(three_voltmeters),
        cmocka_unit_test(low_resistance_voltmeter),
        cmocka_unit_test(correction),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
