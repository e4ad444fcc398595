/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "shape_reading.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* A frequency that could not be told from that of a faster signal is as good as an alias. */
struct shape_facts shape_facts_of(const struct measurement *measurement)
{
    const struct acquisition *seen = &measurement->acquisition;
    bool doubtful = measurement->sure.reason[0] != '\0' && isnan(measurement->sure.frequency);
    return (struct shape_facts) { .chain = &measurement->chain,
                                  .setup = &measurement->request.setup,
                                  .signal = &seen->signal,
                                  .scope = measurement_scope(measurement),
                                  .alias = measurement->request.whole || doubtful };
}

double shape_at_tip(const struct measurement *measurement, double level, double *samples,
                    size_t count)
{
    struct chain shown = measurement->chain;
    const struct setup *setup = &measurement->request.setup;
    shown.aspect = ASPECT_DC;
    for (size_t i = 0; i < count; i++)
        samples[i] = chain_value(&shown, setup, samples[i] - level);
    return shown.input->ranges[setup->range].resolution * fabs(shown.probe->factor);
}

/* The figure of the latest record; the trace itself stays as it is at the input. */
static bool look_at(const struct measurement *measurement, struct shape_figures *shapes)
{
    const struct trace *trace = measurement->trace;
    const struct shape_facts facts = shape_facts_of(measurement);
    double *samples = malloc(trace->count * sizeof *samples);
    if (!samples)
        return failure_no_memory(measurement->failure, "a record");
    memcpy(samples, trace->volts, trace->count * sizeof *samples);
    double step = shape_at_tip(measurement, 0, samples, trace->count);
    bool made = shapes_make(samples, trace->count, trace->interval, step, &facts, shapes);
    free(samples);
    return made ||
           failure_set(measurement->failure, FAILURE_NO_VALUE, NULL, "a record of finite samples",
                       "%zu samples that cannot be measured", trace->count);
}

static bool refuse(const struct measurement *measurement, const struct shape_figure *shape)
{
    char text[200];
    return failure_set(measurement->failure, FAILURE_NO_VALUE,
                       measurement->bench->instruments[measurement->point->instrument].name, NULL,
                       "the record has no %s: %s", quantity_name(measurement->point->quantity),
                       shape_lack_text(shape, text, sizeof text));
}

/* The values of all records; the budget and all else is that of the first. */
static bool look_often(struct measurement *measurement, size_t repeats, double *values,
                       struct shape_figure *first, size_t *orders)
{
    enum figure_kind kind = shape_kind(measurement->point->quantity);
    const struct signal settled = measurement->acquisition.signal;
    for (size_t i = 0; i < repeats; i++) {
        struct shape_figures shapes = { 0 };
        if (!measurement_goes_on(measurement, i, repeats) ||
            (i > 0 && !measurement_look(measurement)))
            return false;
        if (measurement->acquisition.overload)
            return failure_set(measurement->failure, FAILURE_UNSTABLE, NULL,
                               "a signal that stays within one range",
                               "reading %zu of %zu overloaded", i + 1, repeats);
        if (!look_at(measurement, &shapes))
            return false;
        if (shapes.of[kind].lack != WAVE_NONE)
            return refuse(measurement, &shapes.of[kind]);
        values[i] = shapes.of[kind].value;
        if (i == 0)
            *first = shapes.of[kind];
        *orders = shapes.orders;
    }
    measurement->acquisition.signal = settled;
    return true;
}

/* What the profile leaves out of the uncertainty, and what the figure leaves out of the signal. */
static void warn(const struct measurement *measurement, size_t orders, struct reading *reading)
{
    enum quantity quantity = measurement->point->quantity;
    enum dimension dimension = quantity_dimension(quantity);
    bool timed = dimension == DIMENSION_TIME || dimension == DIMENSION_FREQUENCY;
    if (timed && !isfinite(measurement_scope(measurement)->timebase_error))
        reading_warn(reading, "the profile does not state the accuracy of the time base: the "
                              "uncertainty is without it");
    if (quantity == QUANTITY_DISTORTION)
        reading_warn(reading,
                     "of harmonics up to order %zu; what the instrument itself distorts is not "
                     "stated and counts as the signal's",
                     orders);
}

bool shape_finish(struct measurement *measurement, size_t repeats, struct reading *reading)
{
    double *values = calloc(repeats, sizeof *values);
    struct shape_figure shape = { 0 };
    double mean, standard;
    size_t orders = 0;
    if (!values)
        return failure_no_memory(measurement->failure, "the readings");
    bool done = look_often(measurement, repeats, values, &shape, &orders);
    if (done && repeats > 1 && type_a(values, repeats, &mean, &standard)) {
        shape.value = mean;
        budget_add(&shape.budget, "repeatability", SHAPE_NORMAL, standard, 1,
                   (double)(repeats - 1));
    }
    free(values);
    done =
        done &&
        instrument_confirm(measurement->instrument, measurement->deadline, measurement->failure) &&
        reading_conclude(reading, &measurement->chain, &measurement->request.setup,
                         measurement->acquisition.signal.value, shape.value, &shape.budget, repeats,
                         &measurement->point->limits, measurement->failure);
    if (done)
        warn(measurement, orders, reading);
    return done;
}
