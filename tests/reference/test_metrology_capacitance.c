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

/* Own derivation: Z = R / (1 + j 2 pi f R C), the two in parallel. */
static void impedance_at_the_tip(void **state)
{
    (void)state;
    static const double rows[][4] = {
        /* ohm, farad, hertz, |Z| ohm */
        { 1000000.0, 2e-11, 0.0, 1000000.0 },
        { 1000000.0, 2e-11, 50.0, 999980.2614 },
        { 1000000.0, 2e-11, 1000.0, 992196.6154 },
        { 1000000.0, 2e-11, 10000.0, 622676.9923 },
        { 1000000.0, 2e-11, 100000.0, 79326.69684 },
        { 1000000.0, 2e-11, 1000000.0, 7957.495201 },
        { 1000000.0, 2e-11, 10000000.0, 795.7744635 },
        { 1000000.0, 2e-11, 100000000.0, 79.57747129 },
        { 10000000.0, 1.5e-11, 0.0, 10000000.0 },
        { 10000000.0, 1.5e-11, 50.0, 9988915.153 },
        { 10000000.0, 1.5e-11, 1000.0, 7277271.834 },
        { 10000000.0, 1.5e-11, 10000.0, 1055110.408 },
        { 10000000.0, 1.5e-11, 100000.0, 106097.3234 },
        { 10000000.0, 1.5e-11, 1000000.0, 10610.32357 },
        { 10000000.0, 1.5e-11, 10000000.0, 1061.032948 },
        { 10000000.0, 1.5e-11, 100000000.0, 106.1032954 },
        { 10000000.0, 1e-11, 0.0, 10000000.0 },
        { 10000000.0, 1e-11, 50.0, 9995068.848 },
        { 10000000.0, 1e-11, 1000.0, 8467330.16 },
        { 10000000.0, 1e-11, 10000.0, 1571767.255 },
        { 10000000.0, 1e-11, 100000.0, 159134.7897 },
        { 10000000.0, 1e-11, 1000000.0, 15915.47415 },
        { 10000000.0, 1e-11, 10000000.0, 1591.549411 },
        { 10000000.0, 1e-11, 100000000.0, 159.1549431 },
        { 100000000.0, 3e-12, 0.0, 100000000.0 },
        { 100000000.0, 3e-12, 50.0, 99558804.87 },
        { 100000000.0, 3e-12, 1000.0, 46864979.19 },
        { 100000000.0, 3e-12, 10000.0, 5297714.859 },
        { 100000000.0, 3e-12, 100000.0, 530509.0115 },
        { 100000000.0, 3e-12, 1000000.0, 53051.64023 },
        { 100000000.0, 3e-12, 10000000.0, 5305.164762 },
        { 100000000.0, 3e-12, 100000000.0, 530.516477 },
    };
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        struct load load = { .resistance = rows[i][0], .capacitance = rows[i][1] };
        assert_near(load_impedance(&load, rows[i][2]), rows[i][3], 1e-8);
    }
}

/* Own derivation: H = Zin / (Zin + Rs), the divider, with Zin as above. */
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

/*
 * FOSSEE's Python textbook companions, "Electronic Instrumentation and
 * Measurements", Example 8.5.2 (p. 8-23): 460 pF at 2 MHz and 100 pF at 4 MHz;
 * it prints 20 pF and 13.19 uH. Own derivation of the digits: L (C + Cd) is as
 * 1 / f^2, so Cd = (460 - 4 x 100) / (4 - 1) pF.
 */
static void coils_own_capacitance(void **state)
{
    (void)state;
    double own = tuned_own_capacitance(2e6, 460e-12, 4e6, 100e-12);
    assert_near(own, 20e-12, 1e-9);
    assert_near(tuned_frequency(1.319286245e-05, 460e-12 + own), 2e6, 1e-9);
    assert_true(isnan(tuned_own_capacitance(2e6, 100e-12, 4e6, 100e-12)));
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
        cmocka_unit_test(impedance_at_the_tip),
        cmocka_unit_test(resistive_source),
        cmocka_unit_test(detuned_tank),
        cmocka_unit_test(coils_own_capacitance),
        cmocka_unit_test(what_is_out_of_bounds_gives_no_number),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
