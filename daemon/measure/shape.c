/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "shape.h"

#include "core/basics/notation.h"
#include "core/waveform/rise_time.h"

#include <math.h>
#include <stdio.h>

static const enum quantity quantities[FIGURE_COUNT] = {
    [FIGURE_FREQUENCY] = QUANTITY_FREQUENCY,
    [FIGURE_PERIOD] = QUANTITY_PERIOD,
    [FIGURE_DUTY] = QUANTITY_DUTY,
    [FIGURE_PULSE_WIDTH] = QUANTITY_PULSE_WIDTH,
    [FIGURE_RISE] = QUANTITY_RISE_TIME,
    [FIGURE_FALL] = QUANTITY_FALL_TIME,
    [FIGURE_OVERSHOOT] = QUANTITY_OVERSHOOT,
    [FIGURE_AMPLITUDE] = QUANTITY_AMPLITUDE_VOLTAGE,
    [FIGURE_DISTORTION] = QUANTITY_DISTORTION,
};

enum quantity shape_quantity(enum figure_kind kind)
{
    return quantities[kind];
}

enum figure_kind shape_kind(enum quantity quantity)
{
    for (int kind = 0; kind < FIGURE_COUNT; kind++)
        if (quantities[kind] == quantity)
            return (enum figure_kind)kind;
    return FIGURE_AMPLITUDE; /* of a current or another signal */
}

struct timebase_need shape_need(enum quantity quantity)
{
    return figure_need(quantity_is_pair(quantity) ? FIGURE_PULSE_WIDTH : shape_kind(quantity));
}

/* One figure under way. */
struct work {
    const struct shape_facts *facts;
    const struct figure *figure;
    struct shape_figure *shape;
};

/* Noise and samples, by how much each counts in the value. */
static void add_record(const struct work *work, double scale)
{
    struct budget *budget = &work->shape->budget;
    budget_add(budget, "noise and converter", SHAPE_NORMAL, work->figure->scatter, scale, INFINITY);
    budget_add(budget, "between samples and steps", SHAPE_BIAS,
               shape_standard(SHAPE_BIAS, work->figure->doubt), scale, INFINITY);
}

/* The rate's error moves times and frequencies alike. */
static void add_timebase(const struct work *work, double value)
{
    double error = work->facts->scope->timebase_error;
    if (isfinite(error))
        budget_add(&work->shape->budget, "time base", SHAPE_RECTANGULAR,
                   shape_standard(SHAPE_RECTANGULAR, error), value, INFINITY);
}

static void make_time(const struct work *work)
{
    work->shape->value = work->figure->value;
    add_record(work, 1);
    add_timebase(work, work->shape->value);
}

static void make_ratio(const struct work *work)
{
    work->shape->value = 100 * work->figure->value;
    add_record(work, 100);
}

/* Harmonics above the bandwidth come through smaller; the highest loses most. */
static void add_roll_off(const struct work *work, double frequency, size_t orders)
{
    struct abilities abilities = work->facts->chain->abilities;
    const struct signal_facts highest = { .aspect = ASPECT_AC,
                                          .frequency = frequency * (double)orders,
                                          .crest = NAN };
    budget_add(&work->shape->budget, "bandwidth", SHAPE_BIAS,
               shape_standard(SHAPE_BIAS, suitability_roll_off(&abilities, &highest)),
               work->shape->value, INFINITY);
}

static double own_rise(const struct shape_facts *facts)
{
    double probe = facts->chain->probe->bandwidth;
    double own = rise_time_of_bandwidth(facts->scope->bandwidth);
    return isnan(probe) ? own : hypot(own, rise_time_of_bandwidth(probe));
}

static void give_up(struct shape_figure *shape, enum wave_reason lack, double at_most)
{
    *shape = (struct shape_figure) {
        .lack = lack, .value = NAN, .at_most = at_most, .seen = NAN, .own = NAN
    };
}

/* What its uncertainty leaves above a time as it appears. */
static double upper_end(const struct work *work)
{
    double error = work->facts->scope->timebase_error;
    return work->figure->value * (1 + (isfinite(error) ? error : 0)) + 2 * work->figure->scatter +
           work->figure->doubt;
}

/* Its own rise time is taken off in squares; what is seen then counts for more than it is. */
static void make_edge(const struct work *work)
{
    double seen = work->figure->value, own = own_rise(work->facts);
    struct rise_time corrected;
    char own_text[NOTATION_SIZE], seen_text[NOTATION_SIZE], source[96];
    if (isnan(own)) {
        give_up(work->shape, WAVE_NO_RISE_TIME, NAN);
        return;
    }
    if (!rise_time_correct(seen, own, &corrected)) {
        give_up(work->shape, WAVE_OWN_RISE_TIME, upper_end(work));
        return;
    }
    work->shape->value = corrected.value;
    work->shape->seen = seen;
    work->shape->own = own;
    add_record(work, seen / corrected.value);
    add_timebase(work, seen * seen / corrected.value);
    notation_value(own_text, sizeof own_text, own, 2, "s");
    notation_value(seen_text, sizeof seen_text, seen, 4, "s");
    snprintf(source, sizeof source, "own rise time %.14s off %.14s", own_text, seen_text);
    budget_add(&work->shape->budget, source, SHAPE_BIAS,
               shape_standard(SHAPE_BIAS, corrected.bound), 1, INFINITY);
}

/* The chain's budget of a swing, but for what the record says of the states. */
static void make_amplitude(const struct work *work)
{
    const struct shape_facts *facts = work->facts;
    struct signal signal = *facts->signal;
    double scale = fabs(chain_value(facts->chain, facts->setup, 1));
    signal.value = work->figure->value / scale;
    signal.scatter = work->figure->scatter / scale;
    signal.doubt = work->figure->doubt / scale;
    signal.averaged = work->figure->averaged;
    signal.edges = 0;
    work->shape->value = work->figure->value;
    chain_budget(facts->chain, facts->setup, &signal, &work->shape->budget);
}

static void make(const struct shape_facts *facts, const struct figures *figures,
                 enum figure_kind kind, struct shape_figure *shape)
{
    const struct figure *figure = &figures->of[kind];
    const struct work work = { facts, figure, shape };
    give_up(shape, figure->lack, figure->at_most);
    if (figure->lack != WAVE_NONE)
        return;
    switch (kind) {
    case FIGURE_DUTY:
    case FIGURE_OVERSHOOT:
        make_ratio(&work);
        break;
    case FIGURE_DISTORTION:
        make_ratio(&work);
        add_roll_off(&work, figures->of[FIGURE_FREQUENCY].value, figures->orders);
        break;
    case FIGURE_RISE:
    case FIGURE_FALL:
        make_edge(&work);
        break;
    case FIGURE_AMPLITUDE:
        make_amplitude(&work);
        break;
    default:
        make_time(&work);
    }
}

bool shapes_make(const double *samples, size_t count, double interval, double step,
                 const struct shape_facts *facts, struct shape_figures *shapes)
{
    struct series series = series_of_reals(samples, count, interval);
    struct waveform waveform;
    struct figures figures;
    series.step = step;
    if (!waveform_measure_series(&series, &waveform))
        return false;
    if (facts->alias)
        figures_lack(&figures, WAVE_ALIAS);
    else
        figures_measure(&series, &waveform, &figures);
    for (int kind = 0; kind < FIGURE_COUNT; kind++)
        make(facts, &figures, (enum figure_kind)kind, &shapes->of[kind]);
    shapes->orders = figures.orders;
    return true;
}

const char *shape_lack_text(const struct shape_figure *shape, char *text, size_t size)
{
    char bound[NOTATION_SIZE];
    const char *words = wave_reason_text(shape->lack);
    if (isfinite(shape->at_most))
        snprintf(text, size, "%s; it is no more than %s", words,
                 notation_value(bound, sizeof bound, shape->at_most, 3, "s"));
    else
        snprintf(text, size, "%s", words);
    return text;
}
