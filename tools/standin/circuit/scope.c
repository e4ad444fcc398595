/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "scope.h"

#include "converter.h"
#include "feed.h"
#include "spread.h"
#include "tools/standin/basics/alloc.h"

#include <math.h>
#include <stdlib.h>

/* What the variable control does to the scale while it is in use. */
#define VARIABLE_GAIN 0.63
/* Waveforms start at any time within so many seconds. */
#define PHASE_SPAN_S 1000.0

const struct scope_type scope_tarnwerk = {
    .step_count = 13,
    .steps = { 1e-3, 2e-3, 5e-3, 10e-3, 20e-3, 50e-3, 0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0 },
    .lowest = -128,
    .highest = 127,
    .middle = 0,
    .codes_per_division = 32.0,
    .gain = 0.03,
    .offset = 0.01,
    .baseline = 0.1,
    .input_resistance = 1e6,
    .resistance_tolerance = 0.01,
    .ac_corner = 5.0,
    .default_points = 2000,
    .default_time = 0.02,
};

const struct scope_type scope_oldmere = {
    .step_count = 12,
    .steps = { 5e-3, 10e-3, 20e-3, 50e-3, 0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0, 20.0 },
    .lowest = 0,
    .highest = 255,
    .middle = 128,
    .codes_per_division = 32.0,
    .gain = 0.03,
    .offset = 0.0,
    .baseline = 0.2,
    .input_resistance = 1e6,
    .resistance_tolerance = 0.02,
    .ac_corner = 10.0,
    .default_points = 500,
    .default_time = 0.01 / 500.0 * 499.0,
};

void scope_init(struct scope *scope, const struct scope_type *type, gsl_rng *rng, double fraction)
{
    *scope = (struct scope) { .type = type };
    for (size_t i = 0; i < SCOPE_INPUTS; i++) {
        struct scope_input *input = &scope->inputs[i];

        input->input_resistance = type->input_resistance *
                                  (1.0 + spread_within(rng, type->resistance_tolerance * fraction));
        input->offset_error = spread_within(rng, type->offset * fraction);
        for (size_t s = 0; s < type->step_count; s++) {
            input->gain_error[s] = spread_within(rng, type->gain * fraction);
            input->baseline[s] = spread_within(rng, type->baseline * fraction);
        }
    }
    scope_reset(scope);
}

void scope_clear(struct scope *scope)
{
    for (size_t i = 0; i < SCOPE_INPUTS; i++) {
        free(scope->inputs[i].codes);
        scope->inputs[i].codes = NULL;
        scope->inputs[i].recorded = false;
    }
}

void scope_reset(struct scope *scope)
{
    for (size_t i = 0; i < SCOPE_INPUTS; i++) {
        struct scope_input *input = &scope->inputs[i];

        input->step = scope->type->step_count - 1;
        input->offset = 0.0;
        input->position = 0.0;
        input->coupling = SCOPE_DC;
        input->recorded = false;
    }
    scope->trigger = (struct scope_trigger) { .rising = true };
    scope->points = scope->type->default_points;
    scope->time = scope->type->default_time;
    scope->real_bits = 0;
}

double scope_offset_span(double volts_per_division)
{
    if (volts_per_division <= 0.02 * (1.0 + 1e-9))
        return 0.8;
    return volts_per_division <= 0.2 * (1.0 + 1e-9) ? 6.0 : 80.0;
}

double scope_volts_per_division(const struct scope *scope, size_t input)
{
    return scope->type->steps[scope->inputs[input].step];
}

void scope_set_step(struct scope *scope, size_t input, size_t step)
{
    struct scope_input *in = &scope->inputs[input];
    double span = scope_offset_span(scope->type->steps[step]);

    scope->relay_changes += in->step != step;
    in->step = step;
    in->offset = fmin(fmax(in->offset, -span), span);
    in->recorded = false;
}

bool scope_set_offset(struct scope *scope, size_t input, double offset)
{
    if (!(fabs(offset) <= scope_offset_span(scope_volts_per_division(scope, input))))
        return false;
    scope->inputs[input].offset = offset;
    scope->inputs[input].recorded = false;
    return true;
}

void scope_set_position(struct scope *scope, size_t input, double divisions)
{
    scope->inputs[input].position = divisions;
    scope->inputs[input].recorded = false;
}

void scope_set_coupling(struct scope *scope, size_t input, enum scope_coupling coupling)
{
    scope->relay_changes += scope->inputs[input].coupling != coupling;
    scope->inputs[input].coupling = coupling;
    scope->inputs[input].recorded = false;
}

void scope_set_variable(struct scope *scope, size_t input, bool variable)
{
    scope->inputs[input].variable = variable;
    scope->inputs[input].recorded = false;
}

void scope_turn_knob(struct scope *scope, gsl_rng *rng)
{
    struct scope_input *in = &scope->inputs[gsl_rng_uniform_int(rng, SCOPE_INPUTS)];

    switch (gsl_rng_uniform_int(rng, 4)) {
    case 0:
        in->coupling = (enum scope_coupling)gsl_rng_uniform_int(rng, 3);
        break;
    case 1:
        in->step = gsl_rng_uniform_int(rng, scope->type->step_count);
        break;
    case 2:
        scope->time *= gsl_rng_uniform_int(rng, 2) != 0 ? 2.0 : 0.5;
        break;
    default: /* which of the two it has follows from its type */
        if (scope->type->offset > 0.0)
            in->offset += spread_within(rng, 2.0 * scope->type->steps[in->step]);
        else
            in->position += spread_within(rng, 2.0);
    }
}

void scope_turn_back(struct scope *scope, const struct scope *before)
{
    for (size_t i = 0; i < SCOPE_INPUTS; i++) {
        const struct scope_input *was = &before->inputs[i];
        struct scope_input *in = &scope->inputs[i];

        in->coupling = was->coupling;
        in->step = was->step;
        in->offset = was->offset;
        in->position = was->position;
    }
    scope->time = before->time;
}

static void void_records(struct scope *scope)
{
    for (size_t i = 0; i < SCOPE_INPUTS; i++)
        scope->inputs[i].recorded = false;
}

void scope_set_points(struct scope *scope, size_t points)
{
    scope->points = points;
    void_records(scope);
}

void scope_set_time(struct scope *scope, double time)
{
    scope->time = time;
    void_records(scope);
}

bool scope_step_equal(const struct scope_type *type, double volts, size_t *step)
{
    for (size_t s = 0; s < type->step_count; s++) {
        if (fabs(volts - type->steps[s]) <= 1e-6 * type->steps[s]) {
            *step = s;
            return true;
        }
    }
    return false;
}

bool scope_step_holding(const struct scope_type *type, double volts, size_t *step)
{
    for (size_t s = 0; s < type->step_count; s++) {
        if (volts <= type->steps[s] * (1.0 + 1e-6)) {
            *step = s;
            return true;
        }
    }
    return false;
}

int scope_code(const struct scope *scope, size_t input, double volts)
{
    const struct scope_type *type = scope->type;
    const struct scope_input *in = &scope->inputs[input];
    double centre = in->offset * (1.0 + in->offset_error);
    double gain = (1.0 + in->gain_error[in->step]) * (in->variable ? VARIABLE_GAIN : 1.0);
    double divisions =
        (volts - centre) * gain / type->steps[in->step] + in->position + in->baseline[in->step];

    return converter_code(divisions * type->codes_per_division + type->middle, type->lowest,
                          type->highest);
}

double scope_volts(const struct scope *scope, size_t input, int code)
{
    const struct scope_input *in = &scope->inputs[input];
    double divisions = (code - scope->type->middle) / scope->type->codes_per_division;

    return (divisions - in->position) * scope->type->steps[in->step] + in->offset;
}

static void begin_record(struct scope *scope)
{
    scope->recorded = scope->points;
    for (size_t i = 0; i < SCOPE_INPUTS; i++) {
        struct scope_input *in = &scope->inputs[i];

        in->codes = alloc_resize(in->codes, scope->recorded * sizeof in->codes[0]);
        in->recorded = true;
    }
}

void scope_acquire(struct scope *scope, const struct tie *ties, double now, gsl_rng *rng)
{
    scope_record(scope, ties, now, spread_unit(rng) * PHASE_SPAN_S, rng);
}

void scope_record(struct scope *scope, const struct tie *ties, double first, double start,
                  gsl_rng *rng)
{
    double interval = scope->time / (double)(scope->points - 1);

    begin_record(scope);
    for (size_t i = 0; i < SCOPE_INPUTS; i++) {
        struct feed feed = feed_of(scope, i, &ties[i], rng);
        double frequency = feed.source != NULL ? feed.source->wave.frequency : 0.0;
        double phase = feed_phase(&feed, start);

        for (size_t n = 0; n < scope->recorded; n++) {
            double t = (double)n * interval;
            double volts = feed.source != NULL
                               ? feed_volts(&feed, first + t, phase + t * frequency, rng)
                               : 0.0;

            scope->inputs[i].codes[n] = (int16_t)scope_code(scope, i, volts);
        }
    }
}

void scope_acquire_overload(struct scope *scope)
{
    begin_record(scope);
    for (size_t i = 0; i < SCOPE_INPUTS; i++)
        for (size_t n = 0; n < scope->recorded; n++)
            scope->inputs[i].codes[n] = (int16_t)scope->type->highest;
}
