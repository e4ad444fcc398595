/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>

#include <cmocka.h>

#include "core/range/plan.h"
#include "core/waveform/estimate.h"
#include "core/waveform/waveform.h"
#include "world.h"

/* Of the ringing square: depth, time constant and period of the ringing, in periods of the wave. */
static const double ring_depth = 0.3, ring_decay = 0.06, ring_period = 0.08;

/* Its crest over its level: at the first maximum, t = p / 2 pi atan(2 pi d / p). */
static const double ring_crest = 1.2198177832106425;

static double sine(double turn)
{
    return sin(2 * M_PI * turn);
}

static double bent(double turn)
{
    return (sin(2 * M_PI * turn) - 0.01 * sin(6 * M_PI * turn)) / 1.01;
}

static double square(double turn)
{
    return turn < 0.5 ? 1 : -1;
}

static double triangle(double turn)
{
    return 1 - 4 * fabs(turn - 0.5);
}

static double sawtooth(double turn)
{
    return 2 * turn - 1;
}

static double pulse(double turn)
{
    return turn < 0.2 ? 1 : -1;
}

/* Edges of a twentieth of the period. */
static double slow_pulse(double turn)
{
    double up = fmin(turn, 0.25 - turn) / 0.05;
    return 2 * fmin(1, fmax(0, up)) - 1;
}

static double harmonics(double turn)
{
    return (sin(2 * M_PI * turn) - 0.01 * sin(6 * M_PI * turn) + 0.003 * sin(10 * M_PI * turn)) /
           1.013;
}

static double narrow(double turn)
{
    return turn < 0.01 ? 1 : -1;
}

static double wide(double turn)
{
    return turn < 0.99 ? 1 : -1;
}

/* A square that overshoots by three tenths of its height's half, and rings four times in a half. */
static double ringing(double turn)
{
    double half = turn < 0.5 ? turn : turn - 0.5;
    double level = 1 + ring_depth * exp(-half / ring_decay) * sin(2 * M_PI * half / ring_period);
    return (turn < 0.5 ? level : -level) / ring_crest;
}

const struct world_wave world_sine = { sine, 0, 0.5 };
const struct world_wave world_bent = { bent, 0, 0.5 * 1.0001 / 1.01 / 1.01 };
const struct world_wave world_square = { square, 0, 1 };
const struct world_wave world_triangle = { triangle, 0, 1 / 3.0 };
const struct world_wave world_sawtooth = { sawtooth, 0, 1 / 3.0 };
const struct world_wave world_pulse = { pulse, 2 * 0.2 - 1, 1 };
const struct world_wave world_harmonics = { harmonics, 0, 0.5 * 1.000109 / 1.013 / 1.013 };
const struct world_wave world_narrow = { narrow, 2 * 0.01 - 1, 1 };
const struct world_wave world_wide = { wide, 2 * 0.99 - 1, 1 };
/* By quadrature of the square of ringing(). */
const struct world_wave world_ringing = { ringing, 0, 0.6836249132755845 };
const struct world_wave world_slow_pulse = { slow_pulse, 2 * 0.2 - 1, 0.9 + 0.1 / 3 };

static const struct world_wave *wave_of(const struct world *world)
{
    return world->wave ? world->wave : &world_sine;
}

double world_value(const struct world *world, enum aspect aspect)
{
    const struct world_wave *wave = wave_of(world);
    double mean = world->mean + world->amplitude * wave->mean;
    double square = world->amplitude * world->amplitude * (wave->square - wave->mean * wave->mean);
    switch (aspect) {
    case ASPECT_AC:
        return sqrt(square);
    case ASPECT_RMS:
        return sqrt(mean * mean + square);
    case ASPECT_PEAK_TO_PEAK:
        return 2 * world->amplitude;
    case ASPECT_MAXIMUM:
        return world->mean + world->amplitude;
    case ASPECT_MINIMUM:
        return world->mean - world->amplitude;
    default:
        return mean;
    }
}

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
        shown = deflection + copysign(bound, deflection) * world->gain[setup->range];
    return shown + setup->offset * (1 + table->input.offset_fraction * world->dac) +
           world->baseline[setup->range] * range->volts_per_division;
}

static double converted(const struct bench_table *table, const struct setup *setup, double volts)
{
    double step = table->ranges[setup->range].resolution;
    double centre = setup->offset - setup->position;
    return centre + round((volts - centre) / step) * step;
}

void world_describe(const double *samples, size_t count, enum aspect aspect, double step,
                    struct signal *signal)
{
    struct waveform waveform;
    struct series series = series_of_reals(samples, count, 1);
    assert_true(waveform_measure_series(&series, &waveform));
    struct estimate estimate = estimate_aspect(&series, &waveform, aspect, step);
    *signal = (struct signal) { .value = estimate.value,
                                .mean = estimate.mean,
                                .low = waveform.minimum,
                                .high = waveform.maximum,
                                .noise = waveform.noise,
                                .doubt = estimate.doubt,
                                .samples = (double)count,
                                .frequency = waveform.frequency,
                                .scatter = estimate.scatter,
                                .edges = estimate.edges,
                                .averaged = estimate.averaged };
}

bool world_samples(struct world *world, const struct bench_table *table, const struct setup *setup,
                   bool grounded, double *samples, enum side *side)
{
    size_t count = table->input.vertical ? world->record : 1;
    double low, high;
    setup_window(&table->input, setup, &low, &high);
    double margin = table->input.vertical ? table->ranges[setup->range].resolution / 2 : 0;
    world->phase = erand48(world->state);
    bool over = false, under = false;
    double blocked = setup->coupling == COUPLING_AC ? world_value(world, ASPECT_DC) : 0;
    for (size_t i = 0; i < count; i++) {
        double turn = world->phase + world->frequency * (double)i;
        double level =
            world->mean - blocked + world->amplitude * wave_of(world)->at(turn - floor(turn));
        double input = grounded ? 0 : level + world->noise * normal(world);
        samples[i] = converted(table, setup, distorted(world, table, setup, input));
        over |= samples[i] > high - margin;
        under |= samples[i] < low + margin;
    }
    if (over || under) {
        *side = over && under ? SIDE_UNKNOWN : over ? SIDE_HIGH : SIDE_LOW;
        return false;
    }
    return true;
}

/* One record (or one meter reading), described; false when it ran out of the window. */
static bool look(struct world *world, const struct bench_table *table, const struct setup *setup,
                 bool grounded, struct signal *signal, enum side *side)
{
    double samples[WORLD_MOST];
    size_t count = table->input.vertical ? world->record : 1;
    if (!world_samples(world, table, setup, grounded, samples, side))
        return false;
    if (count == 1) {
        *signal = signal_level(samples[0]);
        return true;
    }
    world_describe(samples, count, table->chain.aspect, table->ranges[setup->range].resolution,
                   signal);
    return true;
}

void world_subtract_ground(struct world *world, const struct bench_table *table,
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
        plan_resume(&plan, &table->chain, &world->last, world->beyond);
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
    world->beyond = plan.beyond;
    world_subtract_ground(world, table, &setup, &signal);
    double values[WORLD_REPEATS];
    for (size_t i = 0; i < repeats; i++)
        values[i] = signal.value + (repeats > 1 ? world->spread * normal(world) : 0);
    *reading = (struct reading) { 0 };
    return reading_evaluate(reading, &table->chain, &setup, &signal, values, repeats, limits,
                            &failure);
}
