/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * As test_coverage_sines.c, of waves that are no sine: what noise and samples do to them is known
 * between two ends only, and no less than 95 of 100 intervals hold the truth.
 */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "share.h"

enum { EACH = 2000, SEED = 20261130 };

static void test_waves(void **state)
{
    (void)state;
    static const struct {
        const char *name;
        const struct world_wave *wave;
    } rows[] = { { "bent sine", &world_bent },    { "square", &world_square },
                 { "triangle", &world_triangle }, { "sawtooth", &world_sawtooth },
                 { "pulse", &world_pulse },       { "slow pulse", &world_slow_pulse } };
    for (size_t row = 0; row < sizeof rows / sizeof *rows; row++) {
        share_wave(rows[row].name, rows[row].wave, EACH, 0.001, share_report_floor, SEED);
        share_wave(rows[row].name, rows[row].wave, EACH, 0.05, share_report_floor, SEED);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_waves),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
