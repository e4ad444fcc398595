/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * A million meter readings whose errors are drawn as the budget assumes: the
 * accuracy of each range as one error, evenly within the whole bound of its
 * specification; source and input resistance evenly within their
 * tolerances; the converter rounds. Of 95.45 % that U claims, between 95.0 and
 * 97.5 % must come true: neither wrong nor cowardly. And with a limit exactly
 * at the true value, the worst there is, at most 2.5 % may pass.
 */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>

#include <cmocka.h>

#include "share.h"
#include "world.h"

enum { MEASUREMENTS = 1000000, REPEATED = 3000, SEED = 20261126 };

static void measure_many(const char *what, size_t count, size_t repeats)
{
    struct share share = { 0 };
    struct world world = { .state = { SEED & 0xffff, 5, (unsigned short)repeats }, .whole = true };
    for (size_t i = 0; i < count; i++) {
        struct bench_table table;
        meter_table(&table);
        double ratio = world_circuit(&world, &table, false);
        world_instrument(&world, &table);
        world.truth = copysign(2e-3 * pow(450e3, erand48(world.state)), world_even(&world));
        world.mean = world.truth * ratio;
        world.spread = 1e-5 * fabs(world.truth) * pow(10, 2 * erand48(world.state));
        share_one(&share, &world, &table, repeats);
    }
    share_report(&share, what, SEED);
}

static void test_single_readings(void **state)
{
    (void)state;
    measure_many("meter, dc", MEASUREMENTS, 1);
}

/* With type A terms of little freedom beside the bound. */
static void test_repeated_readings(void **state)
{
    (void)state;
    measure_many("meter, dc, mean of 3", REPEATED, 3);
    measure_many("meter, dc, mean of 10", REPEATED, 10);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_single_readings),
        cmocka_unit_test(test_repeated_readings),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
