/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What capacitance does to the circuit. Figures from the formula above each table, at 40 digits. */
#include "core/input/loading.h"
#include "core/input/tuned_circuit.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "tests/near.h"

/* Own derivation: H = Zin / (Zin + Rs), the divider, with Zin = R / (1 + j 2 pi f R C). */
static void resistive_source(void **state)
{
    (void)state;
    static const double rows[][5] = {
        /* source ohm, input ohm, input farad, hertz, |H| */
        { 50.0, 1000000.0, 2e-11, 1000.0, 0.99995000248 },
        { 50.0, 1000000.0, 2e-11, 100000.0, 0.999949805137 },
        { 50.0, 1000000.0, 2e-11, 1000000.0, 0.999930266836 },
        { 50.0, 1000000.0, 2e-11, 10000000.0, 0.997982201608 },
        { 50.0, 10000000.0, 1.5e-11, 1000.0, 0.999995000014 },
        { 50.0, 10000000.0, 1.5e-11, 100000.0, 0.999994888994 },
        { 50.0, 10000000.0, 1.5e-11, 1000000.0, 0.999983897072 },
        { 50.0, 10000000.0, 1.5e-11, 10000000.0, 0.998886531974 },
        { 600.0, 1000000.0, 2e-11, 1000.0, 0.999400356947 },
        { 600.0, 1000000.0, 2e-11, 100000.0, 0.999371987634 },
        { 600.0, 1000000.0, 2e-11, 1000000.0, 0.996575050052 },
        { 600.0, 1000000.0, 2e-11, 10000000.0, 0.798165796589 },
        { 600.0, 10000000.0, 1.5e-11, 1000.0, 0.999940002001 },
        { 600.0, 10000000.0, 1.5e-11, 100000.0, 0.999924018102 },
        { 600.0, 10000000.0, 1.5e-11, 1000000.0, 0.99834523872 },
        { 600.0, 10000000.0, 1.5e-11, 10000000.0, 0.870422838165 },
        { 10000.0, 1000000.0, 2e-11, 1000.0, 0.990098243555 },
        { 10000.0, 1000000.0, 2e-11, 100000.0, 0.982523378967 },
        { 10000.0, 1000000.0, 2e-11, 1000000.0, 0.620264726836 },
        { 10000.0, 1000000.0, 2e-11, 10000000.0, 0.0793216805497 },
        { 10000.0, 10000000.0, 1.5e-11, 1000.0, 0.999000556199 },
        { 10000.0, 10000000.0, 1.5e-11, 100000.0, 0.994602199081 },
        { 10000.0, 10000000.0, 1.5e-11, 1000000.0, 0.727341902129 },
        { 10000.0, 10000000.0, 1.5e-11, 10000000.0, 0.105509865576 },
        { 100000.0, 1000000.0, 2e-11, 1000.0, 0.909031593458 },
        { 100000.0, 1000000.0, 2e-11, 100000.0, 0.598776985549 },
        { 100000.0, 1000000.0, 2e-11, 1000000.0, 0.0792743347214 },
        { 100000.0, 1000000.0, 2e-11, 10000000.0, 0.00795744229433 },
        { 100000.0, 10000000.0, 1.5e-11, 1000.0, 0.990055905682 },
        { 100000.0, 10000000.0, 1.5e-11, 100000.0, 0.723884616309 },
        { 100000.0, 10000000.0, 1.5e-11, 1000000.0, 0.105499237903 },
        { 100000.0, 10000000.0, 1.5e-11, 10000000.0, 0.0106097203366 },
    };
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        struct source source = { .resistance = rows[i][0] };
        struct load load = { .resistance = rows[i][1], .capacitance = rows[i][2] };
        struct loading loading = loading_at(&source, &load, rows[i][3]);
        assert_true(loading.known);
        assert_near(loading.ratio, rows[i][4], 1e-9);
        assert_near(loading.factor, 1 / rows[i][4], 1e-9);
        assert_within(loading.relative, rows[i][4] - 1, 1e-9);
    }
}

/* Own derivation: f = 1 / (2 pi sqrt(L C)), where both reactances are alike. */
static void detuned_tank(void **state)
{
    (void)state;
    static const double rows[][6] = {
        /* henry, farad, farad added, hertz, hertz loaded, shift per cent */
        { 1e-06, 1e-10, 2e-11, 15915494.31, 14528792.08, -8.7129071 },
        { 1e-06, 1e-10, 1e-11, 15915494.31, 15174828.41, -4.6537411 },
        { 1e-05, 1e-11, 2e-11, 15915494.31, 9188814.924, -42.264973 },
        { 1e-07, 3.3e-11, 1.5e-11, 87611912.69, 72643960.39, -17.08438 },
        { 0.001, 1e-09, 2e-11, 159154.9431, 157586.8759, -0.9852457 },
    };
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        double before = tuned_frequency(rows[i][0], rows[i][1]);
        double after = tuned_loaded(before, rows[i][1], rows[i][2]);
        assert_near(before, rows[i][3], 1e-8);
        assert_near(after, rows[i][4], 1e-8);
        assert_near(100 * (after / before - 1), rows[i][5], 1e-7);
        assert_near(tuned_capacitance(rows[i][0], before), rows[i][1], 1e-12);
    }
}

/* Own derivation: the formulas have no value there. */
static void what_is_out_of_bounds_gives_no_number(void **state)
{
    (void)state;
    assert_true(isnan(tuned_frequency(0, 1e-9)) && isnan(tuned_frequency(1e-6, NAN)));
    assert_true(isnan(tuned_loaded(1e6, 1e-9, -1e-12)) && isnan(tuned_loaded(1e6, 0, 0)));
    assert_true(isnan(tuned_capacitance(-1, 1e6)));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(resistive_source),
        cmocka_unit_test(detuned_tank),
        cmocka_unit_test(what_is_out_of_bounds_gives_no_number),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
