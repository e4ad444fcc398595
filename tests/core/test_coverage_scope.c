/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Half a million scope readings of dc, on a scope whose trace is moved, as
 * test_coverage_meter.c does it: the gain as one error evenly within its
 * bound on each range; offset setting, baseline, probe factor, source and tip
 * resistance evenly within their tolerances; normal noise on every sample; the
 * converter rounds; the zero trace is subtracted. Each level is read from cold
 * and then four times again, every time with another instrument, probe and
 * circuit. Records are short, because it is the noise that they are about.
 */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "share.h"

enum { MEASUREMENTS = 500000, SEED = 20261127 };

static void test_position(void **state)
{
    (void)state;
    share_scope("scope with position, dc", scope_table, MEASUREMENTS, SEED);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_position),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
