/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The other half million, on a scope with a calibrated offset, as
 * test_coverage_meter.c does it: the gain as one error evenly within its
 * bound on each range; offset setting, baseline, probe factor, source and tip
 * resistance evenly within their tolerances; normal noise on every sample; the
 * converter rounds; the zero trace is subtracted. Each level is read from cold
 * and then four times again, every time with another instrument, probe and
 * circuit. Records are short, because it is the noise that they are about.
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

enum { MEASUREMENTS = 500000, SAMPLES = 12, EACH = 5, SEED = 20261128 };

static void measure_many(const char *what, void (*build)(struct bench_table *))
{
    struct share share = { 0 };
    struct world world = { .state = { SEED & 0xffff, 6, 6 }, .whole = true, .record = SAMPLES };
    for (size_t i = 0; i < MEASUREMENTS; i++) {
        struct bench_table table;
        build(&table);
        table.input.baseline_divisions = 0.2;
        double ratio = world_circuit(&world, &table, true);
        world_instrument(&world, &table);
        world.known = i % EACH != 0;
        if (!world.known)
            world.mean = copysign(2e-3 * pow(15e3, erand48(world.state)), world_even(&world));
        world.truth = world.mean / ratio;
        world.noise = 1e-3 * fabs(world.mean) * erand48(world.state);
        share_one(&share, &world, &table, 1);
    }
    share_report(&share, what, SEED);
}

static void test_offset(void **state)
{
    (void)state;
    measure_many("scope with offset, dc", offset_scope_table);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_offset),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
