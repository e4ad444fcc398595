/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * RMS, ac and extremes of sines, read from scope records with noise of up to 5 % of the
 * amplitude, in the way of test_coverage_scope.c. They are corrected for noise and for what lies
 * between the samples, and their intervals hold the truth in 95.0 to 97.5 of 100.
 */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "share.h"

enum { EACH = 8000, SEED = 20261129 };

static void test_little_noise(void **state)
{
    (void)state;
    share_wave("sine", &world_sine, EACH, 0.001, share_report, SEED);
}

static void test_noise(void **state)
{
    (void)state;
    share_wave("sine", &world_sine, EACH, 0.05, share_report, SEED);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_little_noise),
        cmocka_unit_test(test_noise),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
