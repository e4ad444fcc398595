/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>

#include <cmocka.h>

#include "share.h"

void share_one(struct share *share, struct world *world, const struct bench_table *table,
               size_t repeats)
{
    struct limits limits = limits_none();
    struct reading reading;
    double value, uncertainty;
    if ((share->taken & 1) != 0)
        limits.high = world->truth;
    else
        limits.low = world->truth;
    if (!world_measure(world, table, repeats, &limits, &reading) ||
        !reading_value(&reading, &value, &uncertainty)) {
        share->none++;
        return;
    }
    share->taken++;
    share->held += fabs(value - world->truth) <= uncertainty;
    share->accepted += reading.judgement.verdict == VERDICT_PASS;
    share->widths += reading.expanded.coverage;
}

/* Prints the shares; returns that of the intervals that hold the truth, %. */
static double print_shares(const struct share *share, const char *what, int seed)
{
    double taken = (double)share->taken;
    double held = 100 * (double)share->held / taken;
    double accepted = 100 * (double)share->accepted / taken;
    print_message("seed %d, %s: %zu readings, %.3f %% hold the truth, %.3f %% falsely accepted at "
                  "the limit, k %.3f on average, %zu had no value\n",
                  seed, what, share->taken, held, accepted, share->widths / taken, share->none);
    /* Three standard deviations of a share counted in so many; binomial, own derivation. */
    assert_true(accepted <= 2.5 + 3 * sqrt(2.5 * 97.5 / taken));
    assert_int_equal(share->none, 0);
    return held;
}

void share_report(const struct share *share, const char *what, int seed)
{
    double held = print_shares(share, what, seed);
    assert_true(held >= 95.0 && held <= 97.5);
}

void share_report_floor(const struct share *share, const char *what, int seed)
{
    assert_true(print_shares(share, what, seed) >= 95.0);
}

/* Samples of a record, short because it is the noise that they are about; readings of a level. */
enum { SAMPLES = 12, EACH = 5 };

void share_scope(const char *what, void (*build)(struct bench_table *), size_t count, int seed)
{
    struct share share = { 0 };
    struct world world = { .state = { (unsigned short)(seed & 0xffff), 6, 6 },
                           .whole = true,
                           .record = SAMPLES };
    for (size_t i = 0; i < count; i++) {
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
    share_report(&share, what, seed);
}

static void wave_once(struct world *world, enum aspect aspect, double noise, struct share *share)
{
    struct bench_table table;
    scope_table(&table);
    table.input.baseline_divisions = 0.2;
    table.chain.aspect = aspect;
    double ratio = world_circuit(world, &table, true);
    world_instrument(world, &table);
    world->amplitude = 2e-3 * pow(5e3, erand48(world->state));
    world->mean = world->amplitude * world_even(world);
    world->noise = noise * world->amplitude * erand48(world->state);
    world->frequency = 2.1 * pow(24, erand48(world->state)) / WORLD_RECORD;
    world->truth = world_value(world, aspect) / ratio;
    share_one(share, world, &table, 1);
}

void share_wave(const char *name, const struct world_wave *wave, size_t count, double noise,
                void (*report)(const struct share *, const char *, int), int seed)
{
    static const struct {
        enum aspect aspect;
        const char *name;
    } rows[] = { { ASPECT_RMS, "rms" },
                 { ASPECT_AC, "ac" },
                 { ASPECT_PEAK_TO_PEAK, "peak to peak" },
                 { ASPECT_MAXIMUM, "maximum" },
                 { ASPECT_MINIMUM, "minimum" } };
    for (size_t row = 0; row < sizeof rows / sizeof *rows; row++) {
        struct share share = { 0 };
        struct world world = { .state = { (unsigned short)(seed & 0xffff), 7, (unsigned short)row },
                               .whole = true,
                               .record = WORLD_RECORD,
                               .wave = wave };
        char what[80];
        snprintf(what, sizeof what, "scope, %s of a %s, noise to %g %%", rows[row].name, name,
                 100 * noise);
        for (size_t i = 0; i < count; i++)
            wave_once(&world, rows[row].aspect, noise, &share);
        report(&share, what, seed);
    }
}
