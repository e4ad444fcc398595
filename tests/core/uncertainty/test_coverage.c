/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Does the interval hold the truth? Measurements on simulated instruments
 * whose errors are drawn evenly within their specifications: gain and offset
 * of each range, converter, probe factor, source and input resistance. Each
 * is planned, read, corrected and evaluated as the daemon does it (world.h);
 * then the true unloaded value must lie within value ± U at least 95 times in
 * 100 (k for 95.45 %, JCGM 100 6.2). Each part of a specification errs on its
 * own here, which is kinder than the bound; test_coverage_*.c draw from the bound.
 */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>

#include <cmocka.h>

#include "tests/core/world.h"

enum { MEASUREMENTS = 100000, WAVEFORMS = 10000, SEED = 4711 };

/* Share of measurements whose interval holds the truth. */
struct coverage {
    size_t taken;
    size_t held;
    size_t none; /* without a value */
};

static void count_one(struct coverage *coverage, struct world *world,
                      const struct bench_table *table)
{
    struct reading reading;
    double value, uncertainty;
    struct limits limits = limits_none();
    if (!world_measure(world, table, 1, &limits, &reading) ||
        !reading_value(&reading, &value, &uncertainty)) {
        coverage->none++;
        return;
    }
    coverage->taken++;
    coverage->held += fabs(value - world->truth) <= uncertainty;
}

static void report(const char *what, const struct coverage *coverage)
{
    double share = 100.0 * (double)coverage->held / (double)coverage->taken;
    print_message("seed %d, %s: %zu readings, %.2f %% hold the truth, %zu had no value\n", SEED,
                  what, coverage->taken, share, coverage->none);
    assert_true(share >= 95);
    assert_int_equal(coverage->none, 0);
}

static void test_meter_dc(void **state)
{
    (void)state;
    struct coverage coverage = { 0 };
    struct world world = { .state = { SEED, 1, 1 }, .record = WORLD_RECORD };
    for (size_t i = 0; i < MEASUREMENTS; i++) {
        struct bench_table table;
        meter_table(&table);
        double ratio = world_circuit(&world, &table, false);
        world_instrument(&world, &table);
        world.truth = copysign(2e-3 * pow(450e3, erand48(world.state)), world_even(&world));
        world.mean = world.truth * ratio;
        count_one(&coverage, &world, &table);
    }
    report("meter, dc", &coverage);
}

static void scope_dc(const char *what, void (*build)(struct bench_table *))
{
    struct coverage coverage = { 0 };
    struct world world = { .state = { SEED, 2, 2 }, .record = WORLD_RECORD };
    for (size_t i = 0; i < WAVEFORMS; i++) {
        struct bench_table table;
        build(&table);
        table.input.baseline_divisions = 0.2;
        double ratio = world_circuit(&world, &table, true);
        world_instrument(&world, &table);
        double input = copysign(2e-3 * pow(15e3, erand48(world.state)), world_even(&world));
        world.truth = input / ratio;
        world.mean = input;
        world.noise = 1e-4 * fabs(input);
        count_one(&coverage, &world, &table);
    }
    report(what, &coverage);
}

static void test_scope_dc(void **state)
{
    (void)state;
    scope_dc("scope with position, dc", scope_table);
    scope_dc("scope with offset, dc", offset_scope_table);
}

static void test_scope_sine(void **state)
{
    (void)state;
    static const struct {
        enum aspect aspect;
        const char *name;
        double swing, level; /* truth = swing * amplitude + level * mean, but for RMS */
    } aspects[] = {
        { ASPECT_PEAK_TO_PEAK, "peak to peak", 2, 0 },
        { ASPECT_AC, "ac", M_SQRT1_2, 0 },
        { ASPECT_RMS, "rms", 0, 0 },
        { ASPECT_MAXIMUM, "maximum", 1, 1 },
        { ASPECT_MINIMUM, "minimum", -1, 1 },
    };
    for (size_t a = 0; a < sizeof aspects / sizeof aspects[0]; a++) {
        struct coverage coverage = { 0 };
        struct world world = { .state = { SEED, 3, (unsigned short)a }, .record = WORLD_RECORD };
        for (size_t i = 0; i < WAVEFORMS; i++) {
            struct bench_table table;
            i % 2 ? scope_table(&table) : offset_scope_table(&table);
            table.input.baseline_divisions = 0.2;
            table.input.ac_corner = 0; /* the coupling's loss is exercised in test_chain */
            table.chain.aspect = aspects[a].aspect;
            table.chain.lowest_frequency = 1.0 / WORLD_RECORD;
            double ratio = world_circuit(&world, &table, true);
            world_instrument(&world, &table);
            world.amplitude = 4e-3 * pow(2e3, erand48(world.state));
            world.mean = 3 * world.amplitude * world_even(&world);
            world.noise = 3e-3 * world.amplitude * erand48(world.state);
            world.frequency = pow(10, -2.3 + 0.9 * erand48(world.state));
            world.truth = (aspects[a].swing * world.amplitude + aspects[a].level * world.mean);
            if (aspects[a].aspect == ASPECT_RMS)
                world.truth = hypot(world.mean, world.amplitude * M_SQRT1_2);
            world.truth /= ratio;
            count_one(&coverage, &world, &table);
        }
        report(aspects[a].name, &coverage);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_meter_dc),
        cmocka_unit_test(test_scope_dc),
        cmocka_unit_test(test_scope_sine),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
