/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>

#include <cmocka.h>

#include "../../core/plan.h"
#include "../../core/waveform.h"
#include "world.h"

double world_even(struct world *world)
{
    return 2 * erand48(world->state) - 1;
}

static double normal(struct world *world)
{
    double u = 1 - erand48(world->state);
    return sqrt(-2 * log(u)) * cos(2 * M_PI * erand48(world->state));
}

void world_instrument(struct world *world, const struct bench_table *table)
{
    for (size_t i = 0; i < table->input.count; i++) {
        world->gain[i] = world_even(world);
        world->offset[i] = world_even(world);
        world->baseline[i] = table->input.baseline_divisions * world_even(world);
    }
    world->dac = world_even(world);
}

double world_circuit(struct world *world, struct bench_table *table, bool scope)
{
    static const double factors[] = { 1, 10, 100 };
    table->chain.source.resistance = pow(10, 5 * erand48(world->state));
    table->chain.source.tolerance = 0.1;
    table->chain.correct_loading = true;
    table->probe.factor = scope ? factors[nrand48(world->state) % 3] : 1;
    table->probe.tolerance = table->probe.factor > 1 ? 0.01 : 0;
    table->probe.tip_resistance = scope && table->probe.factor > 1 ? 10e6 : 10e6;
    table->probe.resistance_tolerance = 0.01;
    double source = table->chain.source.resistance * (1 + 0.1 * world_even(world));
    double load = table->probe.tip_resistance * (1 + 0.01 * world_even(world));
    return load / (source + load) /
           (table->probe.factor * (1 + table->probe.tolerance * world_even(world)));
}

/* What the instrument makes of an input level, before its converter. */
static double distorted(const struct world *world, const struct bench_table *table,
                        const struct setup *setup, double input)
{
    const struct range *range = &table->ranges[setup->range];
    double deflection = input - setup->offset;
    double bound =
        range->accuracy.reading * fabs(deflection) + range->accuracy.range * range->full_scale;
    double shown = deflection * (1 + range->accuracy.reading * world->gain[setup->range]) +
                   range->accuracy.range * range->full_scale * world->offset[setup->range];
    if (world->whole)
        shown = deflection + bound * world->gain[setup->range];
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
    double samples[WORLD_RECORD];
    size_t count = table->input.vertical ? world->record : 1;
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

bool world_measure(struct world *world, const struct bench_table *table, size_t repeats,
                   const struct limits *limits, struct reading *reading)
{
    struct plan plan;
    struct setup setup;
    struct signal signal;
    struct failure failure = { 0 };
    enum side side;
    if (world->known)
        plan_resume(&plan, &table->chain, &world->last);
    else
        plan_start(&plan, &table->chain, NULL);
    while (plan_next(&plan, &setup, &failure) == PLAN_ACQUIRE)
        if (look(world, table, &setup, false, &signal, &side))
            plan_reading(&plan, &signal);
        else
            plan_overload(&plan, table->input.vertical ? side : SIDE_UNKNOWN);
    if (plan.action != PLAN_SETTLED)
        return false;
    world->last = setup;
    subtract_ground(world, table, &setup, &signal);
    double values[WORLD_REPEATS];
    for (size_t i = 0; i < repeats; i++)
        values[i] = signal.value + (repeats > 1 ? world->spread * normal(world) : 0);
    *reading = (struct reading) { 0 };
    return reading_evaluate(reading, &table->chain, &setup, &signal, values, repeats, limits,
                            &failure);
}
