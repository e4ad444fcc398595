/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What a probe's factor and rating do. */
#include "core/input/probe.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "tests/near.h"

static struct probe divider(double factor)
{
    struct probe probe = probe_direct();
    probe.factor = factor;
    return probe;
}

/* Definition of the factor; common practice, no source. */
static void probe_factor(void **state)
{
    (void)state;
    static const double rows[][4] = {
        /* input, tip at x1, x10, x100 */
        { 0.5, 0.5, 5.0, 50.0 },
        { -1.25, -1.25, -12.5, -125.0 },
        { 0.033, 0.033, 0.33, 3.3 },
    };
    for (size_t i = 0; i < 3; i++) {
        for (size_t decade = 0; decade < 3; decade++) {
            struct probe probe = divider(pow(10.0, (double)decade));
            double tip = rows[i][decade + 1];
            assert_near(probe_to_tip(&probe, rows[i][0]), tip, 1e-15);
            assert_near(probe_to_input(&probe, tip), rows[i][0], 1e-15);
        }
    }
}

/* Divisions shown = tip voltage / (factor x volts per division); common practice, no source. */
static void divisions_shown(void **state)
{
    (void)state;
    static const double rows[][4] = {
        /* tip, factor, volts per division, divisions */
        { 15.0, 1.0, 2.0, 7.5 }, { 9.0, 10.0, 0.2, 4.5 },   { 12.5, 10.0, 0.5, 2.5 },
        { 3.3, 1.0, 0.5, 6.6 },  { -5.0, 10.0, 0.1, -5.0 }, { 230.0, 100.0, 0.5, 4.6 },
    };
    for (size_t i = 0; i < sizeof(rows) / sizeof(rows[0]); i++) {
        struct probe probe = divider(rows[i][1]);
        assert_near(probe_to_input(&probe, rows[i][0]) / rows[i][2], rows[i][3], 1e-15);
    }
}

/*
 * A rating that falls by 20 dB a decade above a corner: common practice, no
 * source. Own derivation: 400 V x 1 MHz / f.
 */
static void derating_with_frequency(void **state)
{
    (void)state;
    static const double rows[][2] = {
        { 0.0, 400.0 }, { 50.0, 400.0 }, { 1e6, 400.0 }, { 2e6, 200.0 },
        { 5e6, 80.0 },  { 10e6, 40.0 },  { 20e6, 20.0 }, { 80e6, 5.0 },
    };
    struct probe probe = divider(1.0);
    probe.rating = 400.0;
    probe.rating_corner = 1e6;
    for (size_t i = 0; i < sizeof(rows) / sizeof(rows[0]); i++)
        assert_near(probe_rating_at(&probe, rows[i][0]), rows[i][1], 1e-14);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(probe_factor),
        cmocka_unit_test(divisions_shown),
        cmocka_unit_test(derating_with_frequency),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
