/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What can be the resistance of shorted leads. The bounds are those of lead_zero.h, own rule. */
#include "core/input/lead_zero.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <string.h>

#include <cmocka.h>

#include "tests/near.h"

/* Leads of 0.25 ohm within 0.03 ohm. */
static struct probe leads(void)
{
    struct probe probe = probe_direct();
    probe.dimension = DIMENSION_RESISTANCE;
    probe.offset = -0.25;
    probe.offset_tolerance = 0.03;
    return probe;
}

static void only_shorted_leads_fit(void **state)
{
    (void)state;
    const struct {
        bool stated;
        double resistance;
        double uncertainty;
        const char *says; /* NULL: it fits */
    } rows[] = {
        { true, 0.25, 0.001, NULL },        { true, 0.2805, 0.001, NULL },
        { true, 0.282, 0.001, "is more" },  { true, 0.2195, 0.001, NULL },
        { true, 0.218, 0.001, "is less" },  { true, 1.25, 0.001, "is more" },
        { true, -0.01, 0.001, "below" },    { false, 0.25, 0.001, NULL },
        { false, 5.0, 0.1, NULL },          { false, 5.01, 0.1, "is more" },
        { false, -0.0009, 0.001, NULL },    { false, -0.0011, 0.001, "below" },
        { false, NAN, 0.001, "is more" },   { false, INFINITY, 0.001, "is more" },
        { false, 0.25, NAN, "below zero" }, { true, 0.25, NAN, "is more" },
    };
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        struct probe probe = rows[i].stated ? leads() : probe_direct();
        struct failure failure = { 0 };
        bool fits = lead_zero_fits(&probe, rows[i].resistance, rows[i].uncertainty, &failure);
        assert_int_equal(fits, rows[i].says == NULL);
        if (rows[i].says != NULL)
            assert_non_null(strstr(failure.what, rows[i].says));
    }
}

/* own derivation: what is at the tips is what is at the input less the leads */
static void a_zero_takes_the_place_of_what_is_stated(void **state)
{
    (void)state;
    const struct lead_zero zero = { LEADS_ZEROED, 0.26, 0.001, { 0 } };
    const struct lead_zero shorted = { .state = LEADS_SHORTED };
    struct probe stated = leads();
    struct probe zeroed = lead_zero_probe(&stated, &zero);
    assert_within(probe_to_tip(&zeroed, 1.26), 1, 1e-12);
    assert_true(zeroed.offset_tolerance == 0);
    assert_true(zeroed.offset_standard == 0.001);
    struct probe untouched = lead_zero_probe(&stated, &shorted);
    assert_true(probe_to_tip(&untouched, 1.26) == 1.26);
    assert_true(untouched.offset_tolerance == 0);
    assert_true(untouched.offset_standard == 0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(only_shorted_leads_fit),
        cmocka_unit_test(a_zero_takes_the_place_of_what_is_stated),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
