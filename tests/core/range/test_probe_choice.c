/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "core/range/probe_choice.h"
#include "tests/core/bench_tables.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "tests/near.h"

/* A x10 and a x100 probe for 1 megohm inputs, and one for another input. */
static void probes_at_hand(struct probe *probes)
{
    for (int i = 0; i < 3; i++) {
        probes[i] = probe_direct();
        probes[i].factor = i == 1 ? 100 : 10;
        probes[i].tip_resistance = i == 1 ? 100e6 : 10e6;
        probes[i].load_resistance = i == 2 ? 50 : 1e6;
    }
}

static size_t choose(double source, double value, struct probe *probes, size_t count)
{
    struct bench_table table;
    scope_table(&table);
    table.chain.source.resistance = source;
    struct setup setup = { 9, COUPLING_DC, 0, 0 };
    struct signal signal = {
        .value = value, .mean = value, .low = value, .high = value, .samples = 500, .frequency = NAN
    };
    return probe_with_least_loading(&table.chain, &setup, &signal, probes, count);
}

static void the_least_loading_that_still_resolves(void **state)
{
    (void)state;
    struct probe probes[3];
    probes_at_hand(probes);
    /* 3 V from 100 kohm: 0.27 V are missing, where a step at the tip is 16 mV with either. */
    assert_int_equal(choose(100e3, 3, probes, 3), 1);
    assert_int_equal(choose(10e3, 3, probes, 3), 1);
    /* From 5 kohm 15 mV are missing, from 1 kohm 3 mV: no step of 16 mV shows that. */
    assert_int_equal(choose(5e3, 3, probes, 3), 3);
    assert_int_equal(choose(1e3, 3, probes, 3), 3);
}

static void what_does_not_fit_is_left_out(void **state)
{
    (void)state;
    struct probe probes[3];
    probes_at_hand(probes);
    probes[1].rating = 2;
    assert_int_equal(choose(100e3, 3, probes, 3), 0);
    probes[0].dimension = DIMENSION_CURRENT;
    assert_int_equal(choose(100e3, 3, probes, 3), 3);
    assert_int_equal(choose(NAN, 3, probes, 3), 3);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_least_loading_that_still_resolves),
        cmocka_unit_test(what_does_not_fit_is_left_out),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
