/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "core/input/two_load.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <string.h>

#include <cmocka.h>

#include "tests/near.h"

static struct loaded_reading loaded(double unloaded, double source, double load, double standard,
                                    double tolerance)
{
    return (struct loaded_reading) { unloaded * load / (source + load),
                                     standard,
                                     { .resistance = load, .tolerance = tolerance } };
}

static void the_unloaded_value_comes_back(void **state)
{
    (void)state;
    static const double rows[][4] = {
        /* unloaded, source, two loads */
        { 5, 10e3, 1e6, 10e6 }, { -2.5, 100e3, 10e6, 100e3 }, { 1e-3, 0, 1e4, 1e6 },
        { 48, 1e6, 1e6, 2e6 },  { 300, 47, 50, 1e6 },
    };
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        struct loaded_reading one = loaded(rows[i][0], rows[i][1], rows[i][2], 0, 0);
        struct loaded_reading other = loaded(rows[i][0], rows[i][1], rows[i][3], 0, 0);
        struct unloaded result;
        struct failure failure = { 0 };
        assert_true(two_load_solve(&one, &other, &result, &failure));
        assert_near(result.value, rows[i][0], 1e-12);
        assert_within(result.resistance, rows[i][1], 1e-9 * (rows[i][1] + rows[i][2]));
        assert_within(result.standard, 0, 1e-15);
        assert_true(two_load_solve(&other, &one, &result, &failure));
        assert_near(result.value, rows[i][0], 1e-12);
    }
}

/* Without a second load at all the first reading is the unloaded one. */
static void no_load_is_a_known_load(void **state)
{
    (void)state;
    struct loaded_reading one = { 4.5, 0.001, { .resistance = 9e3 } };
    struct loaded_reading open = { 5, 0.001, { .resistance = INFINITY } };
    struct unloaded result;
    struct failure failure = { 0 };
    assert_true(two_load_solve(&one, &open, &result, &failure));
    assert_near(result.value, 5, 1e-12);
    assert_near(result.standard, 0.001, 1e-12);
    assert_near(result.resistance, 1e3, 1e-9);
}

/* Each input moved by its own uncertainty moves the results by what the budget says. */
static void the_uncertainty_is_that_of_small_changes(void **state)
{
    (void)state;
    struct loaded_reading base[2] = { loaded(5, 100e3, 1e6, 0, 0), loaded(5, 100e3, 10e6, 0, 0) };
    struct unloaded exact, moved, result;
    struct failure failure = { 0 };
    double value = 0, resistance = 0;
    assert_true(two_load_solve(&base[0], &base[1], &exact, &failure));
    for (int i = 0; i < 4; i++) {
        struct loaded_reading at[2] = { base[0], base[1] };
        if (i < 2)
            at[i].value += 1e-6;
        else
            at[i - 2].load.resistance *= 1 + 1e-7 / sqrt(3);
        assert_true(two_load_solve(&at[0], &at[1], &moved, &failure));
        value = hypot(value, moved.value - exact.value);
        resistance = hypot(resistance, moved.resistance - exact.resistance);
    }
    for (int i = 0; i < 2; i++) {
        base[i].standard = 1e-6;
        base[i].load.tolerance = 1e-7;
    }
    assert_true(two_load_solve(&base[0], &base[1], &result, &failure));
    assert_near(result.standard, value, 1e-4);
    assert_near(result.resistance_standard, resistance, 1e-4);
}

static void refuse(struct loaded_reading one, struct loaded_reading other, const char *words)
{
    struct unloaded result = { 7, 7, 7, 7 };
    struct failure failure = { 0 };
    assert_false(two_load_solve(&one, &other, &result, &failure));
    assert_int_equal(failure.code, FAILURE_NO_VALUE);
    assert_non_null(strstr(failure.what, words));
    assert_true(result.value == 7);
}

static void what_cannot_be_solved_is_refused(void **state)
{
    (void)state;
    refuse(loaded(5, 1e3, 1e6, 1e-3, 0.01), loaded(5, 1e3, 1.05e6, 1e-3, 0.01), "too alike");
    refuse(loaded(5, 1e3, 1e6, 1e-3, 0), loaded(5, 1e3, 1e6, 1e-3, 0), "too alike");
    refuse(loaded(5, 1e3, 1e6, 1, 0), loaded(5, 1e3, 10e6, 1, 0), "too alike");
    refuse(loaded(5, 1e3, 1e6, 1e-6, 0), loaded(4, 1e3, 10e6, 1e-6, 0), "does not read less");
    refuse(loaded(5, 1e3, 1e6, 0, 0), loaded(-5, 1e3, 10e6, 0, 0), "readings are");
    refuse(loaded(0, 1e3, 1e6, 0, 0), loaded(0, 1e3, 10e6, 0, 0), "readings are");
    refuse(loaded(5, 1e3, NAN, 0, 0), loaded(5, 1e3, 10e6, 0, 0), "not known");
    refuse(loaded(5, 1e3, 1e6, NAN, 0), loaded(5, 1e3, 10e6, 0, 0), "not known");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_unloaded_value_comes_back),
        cmocka_unit_test(no_load_is_a_known_load),
        cmocka_unit_test(the_uncertainty_is_that_of_small_changes),
        cmocka_unit_test(what_cannot_be_solved_is_refused),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
