/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "core/input/probe.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "tests/near.h"

static void no_rating_is_no_number(void **state)
{
    (void)state;
    struct probe probe = probe_direct();
    assert_true(isnan(probe_rating_at(&probe, 0.0)));
    assert_true(isnan(probe_rating_at(&probe, 1e9)));
    probe.rating_corner = 700e3;
    assert_true(isnan(probe_rating_at(&probe, 1e9)));
}

static void a_rating_without_a_corner_does_not_fall(void **state)
{
    (void)state;
    struct probe probe = probe_direct();
    probe.rating = 300.0;
    assert_true(probe_rating_at(&probe, 0.0) == 300.0);
    assert_true(probe_rating_at(&probe, 1e9) == 300.0);
}

static void an_unknown_frequency_gives_the_rating_below_the_corner(void **state)
{
    (void)state;
    struct probe probe = probe_direct();
    probe.rating = 300.0;
    probe.rating_corner = 700e3;
    assert_true(probe_rating_at(&probe, NAN) == 300.0);
    assert_true(probe_rating_at(&probe, INFINITY) == 0.0);
}

static void direct_changes_nothing(void **state)
{
    (void)state;
    struct probe probe = probe_direct();
    assert_string_equal(probe.name, "direct");
    assert_string_equal(probe.unit, "V");
    assert_true(probe_to_tip(&probe, -1.25) == -1.25);
    assert_true(probe_to_input(&probe, -1.25) == -1.25);
    assert_true(isnan(probe.tip_resistance));
    assert_true(isnan(probe.tip_capacitance));
    assert_true(probe.tolerance == 0.0);
    assert_true(probe_fits_input(&probe, 50.0));
}

/* A transducer for temperature: 0.01 V per degree, 0.5 V at zero degrees. */
static void offset_and_factor_have_their_order(void **state)
{
    (void)state;
    struct probe probe = probe_direct();
    probe.factor = 100.0;
    probe.offset = -50.0;
    assert_within(probe_to_tip(&probe, 0.75), 25.0, 1e-12);
    assert_within(probe_to_input(&probe, 25.0), 0.75, 1e-15);
    assert_within(probe_to_tip(&probe, 0.0), -50.0, 0.0);
}

static void an_inverting_probe_inverts(void **state)
{
    (void)state;
    struct probe probe = probe_direct();
    probe.factor = -10.0;
    assert_true(probe_to_tip(&probe, 0.5) == -5.0);
    assert_true(probe_to_input(&probe, -5.0) == 0.5);
}

/* Common practice, no source: 9 Mohm + 1 Mohm is 10x on 1 Mohm, and 5.5x on 10 Mohm. */
static void a_divider_fits_only_its_own_input(void **state)
{
    (void)state;
    struct probe probe = probe_direct();
    probe.load_resistance = 1e6;
    assert_false(probe_fits_input(&probe, 10e6));
    assert_false(probe_fits_input(&probe, 50.0));
    assert_false(probe_fits_input(&probe, INFINITY));
    assert_false(probe_fits_input(&probe, 1.0201e6));
    assert_false(probe_fits_input(&probe, 0.9799e6));
    assert_true(probe_fits_input(&probe, 1.0199e6));
    assert_true(probe_fits_input(&probe, 0.9801e6));
    assert_true(probe_fits_input(&probe, 1e6));
    assert_true(probe_fits_input(&probe, NAN));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(no_rating_is_no_number),
        cmocka_unit_test(a_rating_without_a_corner_does_not_fall),
        cmocka_unit_test(an_unknown_frequency_gives_the_rating_below_the_corner),
        cmocka_unit_test(direct_changes_nothing),
        cmocka_unit_test(offset_and_factor_have_their_order),
        cmocka_unit_test(an_inverting_probe_inverts),
        cmocka_unit_test(a_divider_fits_only_its_own_input),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
