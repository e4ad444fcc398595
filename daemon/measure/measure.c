/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "measure.h"

#include "daemon/bench/point_chain.h"
#include "leads.h"
#include "measure_priv.h"
#include "movement.h"
#include "pair.h"
#include "record_choice.h"
#include "scrutiny.h"
#include "second_look.h"
#include "settle.h"
#include "shape_reading.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* Takes the level of the zero trace out of everything that it is part of. */
static void subtract(struct signal *signal, enum aspect aspect, double level)
{
    double alternating = signal->value * signal->value - signal->mean * signal->mean;
    signal->mean -= level;
    signal->low -= level;
    signal->high -= level;
    if (aspect == ASPECT_RMS)
        signal->value = sqrt(fmax(0, alternating) + signal->mean * signal->mean);
    else if (!aspect_ignores_mean(aspect))
        signal->value -= level;
}

/* Whether the zero trace is looked at, and its level taken away. */
static bool takes_ground(const struct measurement *measurement)
{
    return measurement->chain.input->vertical && measurement->chain.input->ground_reference &&
           !aspect_ignores_mean(measurement->chain.aspect);
}

static bool ground(struct measurement *measurement, struct signal *zero)
{
    *zero = signal_level(0);
    if (!takes_ground(measurement))
        return true;
    const struct acquirer acquirer = measurement_acquirer(measurement);
    return acquire_ground(&acquirer, &measurement->request, zero, measurement->failure);
}

/*
 * The further readings of a repeated measurement, all in the setup that
 * settled. One that overloads ends it: the signal is not what it was.
 */
static bool repeat(struct measurement *measurement, size_t n, double level, double *values,
                   double *times)
{
    struct signal first = measurement->acquisition.signal;
    struct moment begin = measurement->seen_at;
    for (size_t i = 0; i < n; i++) {
        if (!measurement_goes_on(measurement, i, n) || (i > 0 && !measurement_look(measurement)))
            return false;
        if (measurement->acquisition.overload)
            return failure_set(measurement->failure, FAILURE_UNSTABLE, NULL,
                               "a signal that stays within one range",
                               "reading %zu of %zu overloaded", i + 1, n);
        subtract(&measurement->acquisition.signal, measurement->chain.aspect, level);
        values[i] = measurement->acquisition.signal.value;
        times[i] = duration_seconds(moment_since(measurement->seen_at, begin));
    }
    subtract(&first, measurement->chain.aspect, level);
    measurement->acquisition.signal = first;
    return true;
}

/*
 * A meter's number does not say whether the signal stood still. Where it is
 * not what it was when that was looked at, or goes on moving, a second look tells.
 */
static bool look_for_movement(struct measurement *measurement, struct measure_memory *memory)
{
    const struct signal first = measurement->acquisition.signal;
    const struct setup *setup = &measurement->request.setup;
    double error = chain_error_limit(&measurement->chain, setup, &first, first.value);
    if (measurement->chain.input->vertical ||
        (memory && memory->known && !stillness_doubts(&memory->still, first.value, error)))
        return true;
    if (!measurement_look(measurement))
        return false;
    if (measurement->acquisition.overload)
        return failure_set(measurement->failure, FAILURE_UNSTABLE, NULL,
                           "a signal that stays within one range",
                           "the second of two readings overloaded");
    measurement->acquisition.signal.drift =
        movement_of_two(first.value, measurement->acquisition.signal.value,
                        measurement->chain.input->ranges[setup->range].resolution);
    double moved = measurement->acquisition.signal.value - first.value;
    if (memory)
        stillness_note(&memory->still, first.value,
                       measurement->acquisition.signal.drift > 0 ? moved : 0);
    return true;
}

/* Signs of mistakes; `zero` NULL: the zero trace was not looked at. */
static bool look_through(const struct measurement *measurement, const struct signal *zero,
                         struct reading *reading)
{
    const struct evidence evidence = { .bench = measurement->bench,
                                       .point = measurement->point,
                                       .chain = &measurement->chain,
                                       .acquisition = &measurement->acquisition,
                                       .leads_age = measurement->leads_age,
                                       .zero = zero };
    return scrutinise(&evidence, reading, measurement->failure);
}

/* From settled to evaluated. */
static bool finish(struct measurement *measurement, size_t repeats, struct measure_memory *memory,
                   struct reading *reading)
{
    double *values = calloc(2 * repeats, sizeof *values), *times = values + repeats;
    if (!values)
        return failure_set(measurement->failure, FAILURE_NO_MEMORY, NULL, NULL, "%zu readings",
                           repeats);
    struct signal zero;
    struct request settled = measurement->request;
    bool done = ground(measurement, &zero);
    measurement->request = settled;
    done = done && (repeats > 1 || look_for_movement(measurement, memory)) &&
           repeat(measurement, repeats, zero.mean, values, times);
    if (done && repeats > 1)
        measurement->acquisition.signal.drift = movement_of_many(values, times, repeats);
    done =
        done &&
        instrument_confirm(measurement->instrument, measurement->deadline, measurement->failure) &&
        reading_evaluate(reading, &measurement->chain, &measurement->request.setup,
                         &measurement->acquisition.signal, values, repeats,
                         &measurement->point->limits, measurement->failure);
    free(values);
    if (done && measurement->sure.alias)
        reading_warn(reading, "%s: the value is of the whole record, not of periods",
                     measurement->sure.reason);
    return done && look_through(measurement, takes_ground(measurement) ? &zero : NULL, reading);
}

static bool run_measurement(struct measurement *measurement, size_t repeats,
                            struct measure_memory *memory, struct reading *reading)
{
    memset(reading, 0, sizeof *reading);
    struct failure failure = { 0 };
    measurement->failure = &failure;
    bool done = measurement_prepare(measurement, memory) &&
                measurement_settle(measurement, memory, reading);
    if (done && bench_of_shape(measurement->bench, measurement->point))
        done = (quantity_is_pair(measurement->point->quantity)
                    ? pair_finish(measurement, repeats, memory, reading)
                    : shape_finish(measurement, repeats, reading)) &&
               look_through(measurement, NULL, reading);
    else
        done = done && finish(measurement, repeats, memory, reading);
    if (memory)
        memory->known = done;
    if (done && memory) {
        memory->setup = reading->setup;
        memory->signal = measurement->acquisition.signal;
        memory->beyond = measurement->beyond;
    }
    if (!done)
        reading_fail(reading, &failure);
    measurement->failure = NULL;
    bool shown =
        measurement->captures && failure.code == FAILURE_NO_VALUE && reading->step_count > 0;
    if (shown)
        reading->setup = measurement->request.setup;
    return done || shown;
}

static bool measure_one(struct instrument *instrument, const struct bench *bench,
                        const struct bench_point *point, const struct lead_zero *zero,
                        size_t repeats, struct deadline deadline, const struct courtesy *courtesy,
                        struct measure_memory *memory, struct reading *reading)
{
    struct measurement measurement = { .instrument = instrument,
                                       .point = point,
                                       .lead_zero = *zero,
                                       .bench = bench,
                                       .request = { .duration = NAN },
                                       .deadline = deadline,
                                       .courtesy = courtesy };
    struct trace trace = { 0 };
    if (bench_of_shape(bench, point))
        measurement.trace = &trace;
    bool done = run_measurement(&measurement, repeats, memory, reading);
    free(trace.volts);
    return done;
}

/* Whether both are read by the same input through the same probe, moved by hand between them. */
static bool one_input(const struct bench_point *a, const struct bench_point *b)
{
    return a->instrument == b->instrument && a->input == b->input && a->probe == b->probe;
}

/* Fails the reading for want of its reference. */
static void fail_reference(struct reading *reading, const struct bench_point *other,
                           const struct failure *why)
{
    struct failure failure = { 0 };
    failure_set(&failure, why->code, why->where, why->expected, "reference point %s: %s",
                other->name, why->what);
    reading_fail(reading, &failure);
}

/* Fails the reading because the one that its limits refer to is not in the store. */
static void fail_stored(struct reading *reading, const struct bench_stored *stored)
{
    struct failure failure = { 0 };
    failure_set(&failure, FAILURE_SETTINGS, NULL,
                "a reading of it that passed, or the number of one as reference_id, and a reload",
                "the reference reading of %s is not in the store", stored->point);
    reading_fail(reading, &failure);
}

void measure_point(struct instrument *instrument, const struct bench *bench,
                   const struct bench_point *point, const struct measure_zeros *zeros,
                   size_t repeats, struct deadline deadline, const struct courtesy *courtesy,
                   struct measure_memory *memory, struct reading *reading)
{
    struct failure failure = { 0 };
    const struct bench_point *other =
        point->reference != BENCH_NO_POINT ? &bench->points[point->reference] : NULL;
    struct reading *reference = other ? calloc(1, sizeof *reference) : NULL;
    if (other && !reference) {
        memset(reading, 0, sizeof *reading);
        failure_no_memory(&failure, "the reference");
        reading_fail(reading, &failure);
    } else if (other && !measure_one(instrument, bench, other, &zeros->reference, repeats, deadline,
                                     courtesy, NULL, reference)) {
        memset(reading, 0, sizeof *reading);
        fail_reference(reading, other, &reference->failure);
    } else if (point->stored.point[0] != '\0' && point->stored.found == 0) {
        memset(reading, 0, sizeof *reading);
        fail_stored(reading, &point->stored);
    } else if (measure_one(instrument, bench, point, &zeros->own, repeats, deadline, courtesy,
                           memory, reading) &&
               point->limits.judged != JUDGED_VALUE &&
               !reading_compare(reading, &point->limits, reference,
                                other && one_input(point, other), &failure)) {
        reading_fail(reading, &failure);
    }
    free(reference);
}

/* Samples and parameters at the tip instead of at the input. */
static bool at_tip(const struct measurement *measurement, double level, const struct trace *trace,
                   struct capture *capture)
{
    double step = shape_at_tip(measurement, level, trace->volts, trace->count);
    const struct shape_facts facts = shape_facts_of(measurement);
    capture->samples = trace->volts;
    capture->count = trace->count;
    capture->interval = trace->interval;
    if (!analysis_make(trace->volts, trace->count, trace->interval, step,
                       measurement->request.whole, &capture->analysis) ||
        !shapes_make(trace->volts, trace->count, trace->interval, step, &facts, &capture->shapes))
        return false;
    double error = measurement_scope(measurement)->timebase_error;
    if (isfinite(error))
        analysis_add_timebase(&capture->analysis, error);
    else if (isfinite(capture->analysis.waveform.frequency))
        reading_warn(&capture->reading, "the profile does not state the accuracy of the time base: "
                                        "frequencies have an uncertainty without it");
    return true;
}

bool measure_capture(struct instrument *instrument, const struct bench *bench,
                     const struct bench_point *point, double duration, struct deadline deadline,
                     const struct courtesy *courtesy, struct measure_memory *memory,
                     struct capture *capture)
{
    struct trace trace = { 0 };
    struct measurement measurement = { .instrument = instrument,
                                       .point = point,
                                       .bench = bench,
                                       .request = { .duration = duration },
                                       .deadline = deadline,
                                       .courtesy = courtesy,
                                       .trace = &trace,
                                       .captures = bench_of_shape(bench, point) };
    memset(capture, 0, sizeof *capture);
    struct failure failure = { 0 };
    if (bench->instruments[point->instrument].profile->kind != PROFILE_SCOPE) {
        failure_set(&failure, FAILURE_UNSUPPORTED, bench->instruments[point->instrument].name,
                    "a point on a scope", "a meter has no waveform to capture");
        reading_fail(&capture->reading, &failure);
        return false;
    }
    bool done = run_measurement(&measurement, 1, memory, &capture->reading);
    measurement.failure = &failure;
    return measurement_show(&measurement, done, &trace, capture);
}

bool measurement_show(struct measurement *measurement, bool done, struct trace *trace,
                      struct capture *capture)
{
    struct signal zero;
    measurement->trace = NULL;
    /* The zero trace may have been taken once more, behind what was confirmed. */
    done =
        done && ground(measurement, &zero) &&
        instrument_confirm(measurement->instrument, measurement->deadline, measurement->failure) &&
        at_tip(measurement, zero.mean, trace, capture);
    if (!done) {
        free(trace->volts);
        capture->samples = NULL;
        if (capture->reading.failure.code == FAILURE_NONE)
            reading_fail(&capture->reading, measurement->failure);
    }
    return done;
}
