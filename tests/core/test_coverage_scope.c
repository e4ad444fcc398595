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
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>

#include <cmocka.h>

#include "share.h"
#include "world.h"

enum { MEASUREMENTS = 500000, FEWER = 4000, SEED = 20261127 };

static void test_position(void **state)
{
    (void)state;
    share_scope("scope with position, dc", scope_table, MEASUREMENTS, SEED);
}

/* The aspect's value of a sine on a level. */
static double value_of(enum aspect aspect, double mean, double amplitude)
{
    switch (aspect) {
    case ASPECT_AC:
        return amplitude / sqrt(2);
    case ASPECT_RMS:
        return sqrt(mean * mean + amplitude * amplitude / 2);
    case ASPECT_PEAK_TO_PEAK:
        return 2 * amplitude;
    case ASPECT_MAXIMUM:
        return mean + amplitude;
    default:
        return mean - amplitude;
    }
}

static void sine_once(struct world *world, enum aspect aspect, struct share *share)
{
    struct bench_table table;
    scope_table(&table);
    table.input.baseline_divisions = 0.2;
    table.chain.aspect = aspect;
    double ratio = world_circuit(world, &table, true);
    world_instrument(world, &table);
    world->amplitude = 2e-3 * pow(5e3, erand48(world->state));
    world->mean = world->amplitude * world_even(world);
    world->noise = 1e-2 * world->amplitude * erand48(world->state);
    world->truth = value_of(aspect, world->mean, world->amplitude) / ratio;
    share_one(share, world, &table, 1);
}

/*
 * Extremes, rms and ac of a sine with noise, ten periods and forty samples of each. What
 * lies between the samples and what noise adds are bounds of known direction in
 * their budgets, and not corrected: their intervals hold more than the goal of 97.5 %,
 * which is printed, and never less than 95 %.
 */
static void test_aspects(void **state)
{
    (void)state;
    static const struct {
        enum aspect aspect;
        const char *name;
    } rows[] = { { ASPECT_RMS, "scope, rms" },
                 { ASPECT_AC, "scope, ac" },
                 { ASPECT_PEAK_TO_PEAK, "scope, peak to peak" },
                 { ASPECT_MAXIMUM, "scope, maximum" },
                 { ASPECT_MINIMUM, "scope, minimum" } };
    for (size_t row = 0; row < sizeof rows / sizeof *rows; row++) {
        struct share share = { 0 };
        struct world world = { .state = { SEED & 0xffff, 7, (unsigned short)row },
                               .whole = true,
                               .record = WORLD_RECORD,
                               .frequency = 10.0 / WORLD_RECORD };
        for (size_t i = 0; i < FEWER; i++)
            sine_once(&world, rows[row].aspect, &share);
        share_report_floor(&share, rows[row].name, SEED);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_position),
        cmocka_unit_test(test_aspects),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
