/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "pair.h"

#include "core/waveform/figures.h"
#include "daemon/bench/point_chain.h"
#include "shape_reading.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* Two frequencies are one where their uncertainties, so many times, reach from the one to the other. */
static const double agreement = 4;

/* The two inputs: the point's own, and the one that it is compared with. */
struct pair {
    struct measurement *sides[2];
    struct trace traces[2];
};

/* What both records say together. */
struct comparison_of {
    struct figure frequency;
    double delay; /* seconds, 0 to a period */
    double scatter;
    double doubt;
};

/* The point as it would be if it hung on the reference input. */
static void turn_to_reference(struct bench_point *point)
{
    point->input = point->reference_input;
    point->probe = point->reference_probe;
    point->expected = NAN;
    point->dc_level = NAN;
}

static bool settle_reference(const struct measurement *own, const struct measure_memory *memory,
                             struct measurement *other, struct reading *steps)
{
    struct measure_memory past = { 0 };
    if (memory && memory->known && memory->beside_known)
        past = (struct measure_memory) { .known = true,
                                         .setup = memory->beside,
                                         .signal = memory->signal };
    other->request.duration = NAN;
    return measurement_prepare(other, &past) && measurement_settle(other, &past, steps) &&
           (!other->sure.alias || failure_set(own->failure, FAILURE_NO_VALUE, NULL, NULL,
                                              "the reference input: %s", other->sure.reason));
}

/* Samples at the tip, and what they say of frequency and instant. */
static enum wave_reason look_at(const struct pair *pair, int side, const struct figure *frequency,
                                struct figure *seen, struct figure *instant)
{
    const struct measurement *measurement = pair->sides[side];
    const struct trace *trace = &pair->traces[side];
    double step =
        frequency ? measurement->chain.input->ranges[measurement->request.setup.range].resolution *
                        fabs(measurement->chain.probe->factor)
                  : shape_at_tip(measurement, 0, trace->volts, trace->count);
    struct series series = series_of_reals(trace->volts, trace->count, trace->interval);
    struct waveform waveform;
    struct figures figures;
    series.step = step;
    if (!waveform_measure_series(&series, &waveform))
        return WAVE_BAD_SAMPLES;
    if (frequency) {
        *instant = figures_instant(&series, &waveform, frequency);
        return instant->lack;
    }
    figures_measure(&series, &waveform, &figures);
    *seen = figures.of[FIGURE_FREQUENCY];
    return seen->lack;
}

static bool refuse(const struct measurement *own, int side, enum wave_reason lack)
{
    return failure_set(own->failure, FAILURE_NO_VALUE, NULL, NULL, "the record has no %s: %s, %s",
                       quantity_name(own->point->quantity),
                       side == 0 ? "the point's own input" : "the reference input",
                       wave_reason_text(lack));
}

/* Of two the one that is better known, where they are the same. */
static bool one_frequency(const struct measurement *own, const struct figure seen[2],
                          struct figure *frequency)
{
    double room = agreement * (seen[0].scatter + seen[1].scatter) + seen[0].doubt + seen[1].doubt;
    if (!(fabs(seen[0].value - seen[1].value) <= room))
        return failure_set(own->failure, FAILURE_NO_VALUE, NULL, "two signals of one frequency",
                           "%.6g Hz, and %.6g Hz at the reference", seen[0].value, seen[1].value);
    bool first = seen[0].scatter + seen[0].doubt <= seen[1].scatter + seen[1].doubt;
    *frequency = seen[first ? 0 : 1];
    return true;
}

static bool compare(const struct pair *pair, struct comparison_of *comparison)
{
    const struct measurement *own = pair->sides[0];
    struct figure seen[2], instants[2];
    for (int side = 0; side < 2; side++) {
        enum wave_reason lack = look_at(pair, side, NULL, &seen[side], NULL);
        if (lack != WAVE_NONE)
            return refuse(own, side, lack);
    }
    if (!one_frequency(own, seen, &comparison->frequency))
        return false;
    for (int side = 0; side < 2; side++) {
        enum wave_reason lack = look_at(pair, side, &comparison->frequency, NULL, &instants[side]);
        if (lack != WAVE_NONE)
            return refuse(own, side, lack);
    }
    double turns = (instants[0].value - instants[1].value) * comparison->frequency.value;
    comparison->delay = (turns - floor(turns)) / comparison->frequency.value;
    comparison->scatter = hypot(instants[0].scatter, instants[1].scatter);
    comparison->doubt = instants[0].doubt + instants[1].doubt;
    return true;
}

static bool record_both(const struct pair *pair, struct trace traces[2])
{
    const struct measurement *own = pair->sides[0];
    const struct request requests[2] = { own->request, pair->sides[1]->request };
    const struct acquirer acquirer = measurement_acquirer(own);
    bool overload;
    return acquire_pair(&acquirer, requests, traces, &overload, own->failure) &&
           (!overload || failure_set(own->failure, FAILURE_UNSTABLE, NULL,
                                     "signals that stay within their ranges",
                                     "an input overloaded when both were recorded"));
}

/* What is not the record's, seconds. */
static void budget_of(const struct measurement *own, const struct comparison_of *comparison,
                      double delay, double scale, struct budget *budget)
{
    const struct scope *scope = measurement_scope(own);
    const struct figure *frequency = &comparison->frequency;
    bool phase = own->point->quantity == QUANTITY_PHASE;
    budget_add(budget, "noise and converter", SHAPE_NORMAL, comparison->scatter, scale, INFINITY);
    budget_add(budget, "between samples and steps", SHAPE_BIAS,
               shape_standard(SHAPE_BIAS, comparison->doubt), scale, INFINITY);
    budget_add(budget, "time between the scope's inputs", SHAPE_RECTANGULAR,
               shape_standard(SHAPE_RECTANGULAR, scope->skew), scale, INFINITY);
    budget_add(budget, "leads and probes", SHAPE_RECTANGULAR,
               shape_standard(SHAPE_RECTANGULAR, own->point->skew), scale, INFINITY);
    if (phase) /* the time base takes itself off, but not what is off in the frequency besides */
        budget_add(budget, "frequency", SHAPE_NORMAL,
                   hypot(frequency->scatter, frequency->doubt / sqrt(3)), 360 * delay, INFINITY);
    else if (isfinite(scope->timebase_error))
        budget_add(budget, "time base", SHAPE_RECTANGULAR,
                   shape_standard(SHAPE_RECTANGULAR, scope->timebase_error), delay, INFINITY);
}

/* The turn of it that is nearest to what is expected, or to zero. */
static double nearest_turn(const struct measurement *own, double delay, double frequency)
{
    bool phase = own->point->quantity == QUANTITY_PHASE;
    double expected = isnan(own->point->expected) ? 0
                      : phase                     ? own->point->expected / 360 / frequency
                                                  : own->point->expected;
    return delay - rint((delay - expected) * frequency) / frequency;
}

/* One record after the other; what the first left open is the budget's. */
static bool look_often(struct pair *pair, size_t repeats, double *values, struct budget *budget)
{
    const struct measurement *own = pair->sides[0];
    bool phase = own->point->quantity == QUANTITY_PHASE;
    for (size_t i = 0; i < repeats; i++) {
        struct comparison_of comparison = { 0 };
        if (!measurement_goes_on(own, i, repeats) || !record_both(pair, pair->traces) ||
            !compare(pair, &comparison))
            return false;
        double frequency = comparison.frequency.value;
        double delay = nearest_turn(own, comparison.delay, frequency);
        double scale = phase ? 360 * frequency : 1;
        values[i] = delay * scale;
        if (i == 0)
            budget_of(own, &comparison, delay, scale, budget);
    }
    return true;
}

static bool conclude(struct pair *pair, size_t repeats, struct reading *reading)
{
    struct measurement *own = pair->sides[0];
    struct budget budget = { 0 };
    double mean, standard;
    double *values = calloc(repeats, sizeof *values);
    if (!values)
        return failure_no_memory(own->failure, "the readings");
    bool done = look_often(pair, repeats, values, &budget);
    mean = values[0];
    if (done && repeats > 1 && type_a(values, repeats, &mean, &standard))
        budget_add(&budget, "repeatability", SHAPE_NORMAL, standard, 1, (double)(repeats - 1));
    free(values);
    return done && instrument_confirm(own->instrument, own->deadline, own->failure) &&
           reading_conclude(reading, &own->chain, &own->request.setup,
                            own->acquisition.signal.value, mean, &budget, repeats,
                            &own->point->limits, own->failure);
}

bool pair_finish(struct measurement *measurement, size_t repeats, struct measure_memory *memory,
                 struct reading *reading)
{
    struct bench_point point = *measurement->point;
    struct measurement other = { .instrument = measurement->instrument,
                                 .bench = measurement->bench,
                                 .point = &point,
                                 .deadline = measurement->deadline,
                                 .courtesy = measurement->courtesy,
                                 .failure = measurement->failure };
    struct pair pair = { .sides = { measurement, &other } };
    struct reading *steps = calloc(1, sizeof *steps);
    if (!steps)
        return failure_no_memory(measurement->failure, "a reading");
    turn_to_reference(&point);
    bool done =
        (!measurement->sure.alias || failure_set(measurement->failure, FAILURE_NO_VALUE, NULL, NULL,
                                                 "%s", measurement->sure.reason)) &&
        settle_reference(measurement, memory, &other, steps);
    free(steps);
    other.request.duration = measurement->request.duration;
    done = done && conclude(&pair, repeats, reading);
    if (memory) {
        memory->beside_known = done;
        memory->beside = other.request.setup;
    }
    if (done && !isfinite(measurement_scope(measurement)->timebase_error) &&
        measurement->point->quantity == QUANTITY_DELAY)
        reading_warn(reading, "the profile does not state the accuracy of the time base: the "
                              "uncertainty is without it");
    for (int side = 0; side < 2; side++)
        free(pair.traces[side].volts);
    return done;
}
