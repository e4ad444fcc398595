/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Does the interval hold the truth? Measurements on simulated instruments
 * whose errors are drawn evenly within their specifications: gain and offset
 * of each range, converter, probe factor, source and input resistance. Each
 * is planned, read, corrected and evaluated as the daemon does it; then the
 * true unloaded value must lie within value ± U at least 95 times in 100
 * (k for 95.45 %, JCGM 100 6.2). The physics here is written afresh and
 * shares nothing with core/ but the tables of specifications.
 */
#include "../../core/plan.h"
#include "../../core/reading.h"
#include "../../core/waveform.h"
#include "bench_tables.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>

#include <cmocka.h>

enum { MEASUREMENTS = 100000, WAVEFORMS = 10000, RECORD = 400, SEED = 4711 };

/* The world as it is, unknown to the measurement. */
struct world {
    unsigned short state[3];
    double truth;     /* of the aspect, unloaded, at the tip */
    double mean;      /* of the signal at the input, loaded, behind the real probe */
    double amplitude; /* of a sine on the mean, at the input */
    double noise;     /* RMS, at the input */
    double frequency;
    double gain[CHAIN_MAX_RANGES]; /* share of the specification, -1 to 1 */
    double offset[CHAIN_MAX_RANGES];
    double baseline[CHAIN_MAX_RANGES]; /* divisions */
    double dac;                        /* share of the offset specification */
};

static double even(struct world *world)
{
    return 2 * erand48(world->state) - 1;
}

static double normal(struct world *world)
{
    double u = 1 - erand48(world->state);
    return sqrt(-2 * log(u)) * cos(2 * M_PI * erand48(world->state));
}

static void draw_instrument(struct world *world, const struct bench_table *table)
{
    for (size_t i = 0; i < table->input.count; i++) {
        world->gain[i] = even(world);
        world->offset[i] = even(world);
        world->baseline[i] = table->input.baseline_divisions * even(world);
    }
    world->dac = even(world);
}

/* A source, a probe and a load, all within their tolerances; returns loaded over unloaded. */
static double draw_circuit(struct world *world, struct bench_table *table, bool scope)
{
    static const double factors[] = { 1, 10, 100 };
    table->chain.source.resistance = pow(10, 5 * erand48(world->state));
    table->chain.source.tolerance = 0.1;
    table->chain.correct_loading = true;
    table->probe.factor = scope ? factors[nrand48(world->state) % 3] : 1;
    table->probe.tolerance = table->probe.factor > 1 ? 0.01 : 0;
    table->probe.tip_resistance = scope && table->probe.factor > 1 ? 10e6 : 10e6;
    table->probe.resistance_tolerance = 0.01;
    double source = table->chain.source.resistance * (1 + 0.1 * even(world));
    double load = table->probe.tip_resistance * (1 + 0.01 * even(world));
    return load / (source + load) /
           (table->probe.factor * (1 + table->probe.tolerance * even(world)));
}

/* What the instrument makes of an input level, before its converter. */
static double distorted(const struct world *world, const struct bench_table *table,
                        const struct setup *setup, double input)
{
    const struct range *range = &table->ranges[setup->range];
    double deflection = input - setup->offset;
    double shown = deflection * (1 + range->accuracy.reading * world->gain[setup->range]) +
                   range->accuracy.range * range->full_scale * world->offset[setup->range];
    return shown + setup->offset * (1 + table->input.offset_fraction * world->dac) +
           world->baseline[setup->range] * range->volts_per_division;
}

static double converted(const struct bench_table *table, const struct setup *setup, double volts)
{
    double step = table->ranges[setup->range].resolution;
    double centre = setup->offset - setup->position;
    return centre + round((volts - centre) / step) * step;
}

/* One record (or one meter reading); false when it ran out of the window. */
static bool look(struct world *world, const struct bench_table *table, const struct setup *setup,
                 bool grounded, struct signal *signal, enum side *side)
{
    static double samples[RECORD];
    size_t count = table->input.vertical ? RECORD : 1;
    double low, high;
    setup_window(&table->input, setup, &low, &high);
    double margin = table->input.vertical ? table->ranges[setup->range].resolution / 2 : 0;
    double phase = 2 * M_PI * erand48(world->state);
    bool over = false, under = false;
    double blocked = setup->coupling == COUPLING_AC ? world->mean : 0;
    for (size_t i = 0; i < count; i++) {
        double angle = phase + 2 * M_PI * world->frequency * (double)i;
        double level = world->mean - blocked + world->amplitude * sin(angle);
        double input = grounded ? 0 : level + world->noise * normal(world);
        samples[i] = converted(table, setup, distorted(world, table, setup, input));
        over |= samples[i] > high - margin;
        under |= samples[i] < low + margin;
    }
    if (over || under) {
        *side = over && under ? SIDE_UNKNOWN : over ? SIDE_HIGH : SIDE_LOW;
        return false;
    }
    struct waveform waveform;
    if (count == 1) {
        *signal = (struct signal) { samples[0], samples[0], samples[0], samples[0], 0, 0, 1, NAN };
        return true;
    }
    assert_true(waveform_measure(samples, count, 1, &waveform));
    *signal = (struct signal) { waveform_aspect(&waveform, table->chain.aspect),
                                waveform.mean,
                                waveform.minimum,
                                waveform.maximum,
                                waveform.noise,
                                waveform.peak_gap,
                                (double)waveform.count,
                                waveform.frequency };
    return true;
}

/* Takes the zero trace out, as the daemon does. */
static void subtract_ground(struct world *world, const struct bench_table *table,
                            const struct setup *setup, struct signal *signal)
{
    if (!table->input.ground_reference || aspect_ignores_mean(table->chain.aspect))
        return;
    struct setup ground = *setup;
    struct signal zero;
    enum side side;
    ground.offset = 0;
    assert_true(look(world, table, &ground, true, &zero, &side));
    double alternating = signal->value * signal->value - signal->mean * signal->mean;
    signal->mean -= zero.mean;
    signal->value = table->chain.aspect == ASPECT_RMS
                        ? sqrt(fmax(0, alternating) + signal->mean * signal->mean)
                        : signal->value - zero.mean;
}

static bool measured(struct world *world, const struct bench_table *table, struct reading *reading)
{
    struct plan plan;
    struct setup setup;
    struct signal signal;
    struct failure failure = { 0 };
    enum side side;
    plan_start(&plan, &table->chain, NULL);
    while (plan_next(&plan, &setup, &failure) == PLAN_ACQUIRE)
        if (look(world, table, &setup, false, &signal, &side))
            plan_reading(&plan, &signal);
        else
            plan_overload(&plan, table->input.vertical ? side : SIDE_UNKNOWN);
    if (plan.action != PLAN_SETTLED)
        return false;
    subtract_ground(world, table, &setup, &signal);
    struct limits limits = limits_none();
    *reading = (struct reading) { 0 };
    return reading_evaluate(reading, &table->chain, &setup, &signal, &signal.value, 1, &limits,
                            &failure);
}

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
    if (!measured(world, table, &reading) || !reading_value(&reading, &value, &uncertainty)) {
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
    struct world world = { .state = { SEED, 1, 1 } };
    for (size_t i = 0; i < MEASUREMENTS; i++) {
        struct bench_table table;
        meter_table(&table);
        double ratio = draw_circuit(&world, &table, false);
        draw_instrument(&world, &table);
        world.truth = copysign(2e-3 * pow(450e3, erand48(world.state)), even(&world));
        world.mean = world.truth * ratio;
        count_one(&coverage, &world, &table);
    }
    report("meter, dc", &coverage);
}

static void scope_dc(const char *what, void (*build)(struct bench_table *))
{
    struct coverage coverage = { 0 };
    struct world world = { .state = { SEED, 2, 2 } };
    for (size_t i = 0; i < WAVEFORMS; i++) {
        struct bench_table table;
        build(&table);
        table.input.baseline_divisions = 0.2;
        double ratio = draw_circuit(&world, &table, true);
        draw_instrument(&world, &table);
        double input = copysign(2e-3 * pow(15e3, erand48(world.state)), even(&world));
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
        struct world world = { .state = { SEED, 3, (unsigned short)a } };
        for (size_t i = 0; i < WAVEFORMS; i++) {
            struct bench_table table;
            i % 2 ? scope_table(&table) : offset_scope_table(&table);
            table.input.baseline_divisions = 0.2;
            table.input.ac_corner = 0; /* the coupling's loss is exercised in test_chain */
            table.chain.aspect = aspects[a].aspect;
            table.chain.lowest_frequency = 1.0 / RECORD;
            double ratio = draw_circuit(&world, &table, true);
            draw_instrument(&world, &table);
            world.amplitude = 4e-3 * pow(2e3, erand48(world.state));
            world.mean = 3 * world.amplitude * even(&world);
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
