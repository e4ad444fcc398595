/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "core/input/loading.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "tests/near.h"

static struct loading evaluate(double source_ohm, double source_tolerance, double load_ohm,
                               double load_tolerance)
{
    struct source source = { .resistance = source_ohm, .tolerance = source_tolerance };
    struct load load = { .resistance = load_ohm, .tolerance = load_tolerance };
    return loading_resistive(&source, &load);
}

static void what_is_not_known_gives_no_number(void **state)
{
    (void)state;
    static const double pairs[][2] = {
        { NAN, 1e6 },  { 1e3, NAN },      { -1.0, 1e6 },          { 1e3, 0.0 },      { 0.0, 0.0 },
        { 1e3, -1.0 }, { INFINITY, 1e6 }, { INFINITY, INFINITY }, { 1e308, 1e-300 },
    };
    for (size_t i = 0; i < sizeof(pairs) / sizeof(pairs[0]); i++) {
        struct loading loading = evaluate(pairs[i][0], 0.0, pairs[i][1], 0.0);
        assert_false(loading.known);
        assert_true(isnan(loading.ratio) && isnan(loading.factor));
        assert_true(isnan(loading.relative) && isnan(loading.uncertainty));
    }
}

static void no_source_resistance_is_no_loading(void **state)
{
    (void)state;
    struct loading loading = evaluate(0.0, 0.1, 1e6, 0.1);
    assert_true(loading.known);
    assert_true(loading.ratio == 1.0 && loading.factor == 1.0);
    assert_true(loading.relative == 0.0 && !signbit(loading.relative));
    assert_true(loading.uncertainty == 0.0);
}

static void an_open_input_does_not_load(void **state)
{
    (void)state;
    struct loading loading = evaluate(1e6, 0.1, INFINITY, 0.0);
    assert_true(loading.known);
    assert_true(loading.ratio == 1.0 && loading.relative == 0.0);
    assert_true(loading.uncertainty == 0.0);
}

/* By JCGM 100 5.1.2: (Rs/Rin) sqrt(u(Rs)^2/Rs^2 + u(Rin)^2/Rin^2) / (1 + Rs/Rin). */
static void the_correction_is_as_uncertain_as_its_resistances(void **state)
{
    (void)state;
    struct loading loading = evaluate(1e5, 0.03, 1e6, 0.04);
    assert_near(loading.uncertainty, 0.1 / 1.1 * 0.05 / sqrt(3.0), 1e-14);
    loading = evaluate(1e6, 0.01, 1e6, 0.0);
    assert_near(loading.uncertainty, 0.5 * 0.01 / sqrt(3.0), 1e-14);
    loading = evaluate(1e6, 0.0, 1e6, 0.0);
    assert_true(loading.uncertainty == 0.0);
}

/* A small loading error keeps its digits, which ratio - 1 would not. */
static void a_small_error_keeps_its_digits(void **state)
{
    (void)state;
    struct loading loading = evaluate(1.0, 0.0, 1e13, 0.0);
    assert_near(loading.relative, -1e-13, 1e-12);
    assert_near(loading.ratio * loading.factor, 1.0, 1e-15);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(what_is_not_known_gives_no_number),
        cmocka_unit_test(no_source_resistance_is_no_loading),
        cmocka_unit_test(an_open_input_does_not_load),
        cmocka_unit_test(the_correction_is_as_uncertain_as_its_resistances),
        cmocka_unit_test(a_small_error_keeps_its_digits),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
