/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Why a range is chosen: the planner's own view of a point, from the signal
 * it was settled on last or from what is expected there. The instrument is
 * not touched.
 */
#include "calls.h"

#include "core/basics/notation.h"
#include "core/input/tuned_circuit.h"
#include "daemon/bench/point_chain.h"
#include "daemon/measure/leads.h"
#include "daemon/measure/shape.h"
#include "explain.h"
#include "methods.h"
#include "service.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

const double explain_coverage = 2;

static bool same_choice(const struct setup *a, const struct setup *b)
{
    return a->range == b->range && a->coupling == b->coupling;
}

/* Finds what is known of the signal, and what the planner would begin with. */
static void find_signal(struct explanation *explanation, const struct bench *bench,
                        const struct measure_memory *memory)
{
    struct plan plan;
    const struct chain *chain = &explanation->chain;
    if (memory->known) {
        explanation->source = SIGNAL_LAST;
        explanation->signal = memory->signal;
        plan_resume(&plan, chain, &memory->setup, memory->beyond);
    } else if (point_expected(bench, explanation->point, chain, &explanation->signal)) {
        explanation->source = SIGNAL_EXPECTED;
        plan_start(&plan, chain, &explanation->signal);
    } else {
        explanation->source = SIGNAL_NONE;
        explanation->signal = (struct signal) { .samples = 1, .frequency = NAN };
        plan_start(&plan, chain, NULL);
    }
    plan_next(&plan, &explanation->first, NULL);
}

/*
 * Where the signal's extremes lie. What was last seen through ac coupling
 * says nothing of the dc level: that is then the stated one, or not known.
 */
static struct extremes extremes_of(const struct explanation *explanation)
{
    const struct span nowhere = { -INFINITY, INFINITY };
    const struct signal *signal = &explanation->signal;
    struct extremes extremes = { nowhere, nowhere, false, 0 };
    if (explanation->source == SIGNAL_NONE)
        return extremes;
    extremes.swing = (struct span) { signal->low - signal->mean, signal->high - signal->mean };
    double level = signal->mean;
    if (explanation->source == SIGNAL_LAST && explanation->first.coupling == COUPLING_AC)
        level = explanation->point->dc_level / explanation->chain.probe->factor;
    if (!isnan(level))
        extremes.total = (struct span) { level + extremes.swing.low, level + extremes.swing.high };
    return extremes;
}

static void weigh(struct explanation *explanation)
{
    const struct extremes extremes = extremes_of(explanation);
    explanation->count = setups_weigh(&explanation->chain, &explanation->signal, &extremes,
                                      explanation->candidates, SETUPS_MOST);
    explanation->chosen = 0;
    while (explanation->chosen < explanation->count &&
           !same_choice(&explanation->candidates[explanation->chosen].setup, &explanation->first))
        explanation->chosen++;
}

/* The value at the tip that the signal stands for, in this setup. */
static double tip_value(const struct explanation *explanation, const struct setup *setup)
{
    return explanation->source == SIGNAL_NONE
               ? NAN
               : chain_value(&explanation->chain, setup, explanation->signal.value);
}

static const char *candidate_note(const struct explanation *explanation, size_t index)
{
    const struct weighed *candidate = &explanation->candidates[index];
    const struct range *range = &explanation->chain.input->ranges[candidate->setup.range];
    if (!probe_fits_input(explanation->chain.probe, range->input_resistance))
        return "the probe's factor does not hold for this input resistance";
    if (explanation->source == SIGNAL_NONE)
        return NULL;
    if (!candidate->fits)
        return "does not hold the signal";
    return index == explanation->chosen ? "chosen" : NULL;
}

/*
 * Expanded uncertainty to be expected in a setup, with the coverage factor that a reading
 * there would have: that of one acquisition.
 */
static double predicted(const struct explanation *explanation, const struct setup *setup)
{
    struct budget budget = { 0 };
    chain_budget(&explanation->chain, setup, &explanation->signal, &budget);
    return budget_expand(&budget).uncertainty;
}

static void value_setup(struct explanation *explanation, size_t index)
{
    const struct chain *chain = &explanation->chain;
    const struct weighed *candidate = &explanation->candidates[index];
    const struct range *range = &chain->input->ranges[candidate->setup.range];
    const struct loading loading = chain_loading(chain, &candidate->setup);
    double value = candidate->fits ? tip_value(explanation, &candidate->setup) : NAN;
    double off = chain->correct_loading ? loading.relative : 1 - loading.factor;
    explanation->setups[index] = (struct explained_setup) {
        .setup = candidate->setup,
        .fits = candidate->fits,
        .full_scale = range->full_scale * fabs(chain->probe->factor),
        .resolution = range->resolution,
        .uncertainty = candidate->fits ? predicted(explanation, &candidate->setup) : NAN,
        .standard = candidate->standard,
        .input_resistance = chain_load(chain, &candidate->setup).resistance,
        .loading_error = loading.known ? value * off : NAN,
        .note = candidate_note(explanation, index),
    };
}

/* Adds a sentence. */
static void say(struct explanation *explanation, const char *line)
{
    snprintf(explanation->lines[explanation->line_count++], EXPLAIN_LINE, "%s", line);
}

/* What the choice is made from, as a sentence. */
static void say_signal(struct explanation *explanation)
{
    char at_tip[NOTATION_SIZE], line[300];
    const char *unit = bench_signal_unit(explanation->bench, explanation->point);
    notation_value(at_tip, sizeof at_tip, tip_value(explanation, &explanation->first), 5, unit);
    if (explanation->source == SIGNAL_LAST)
        snprintf(line, sizeof line, "The last reading was %s.", at_tip);
    else if (explanation->source == SIGNAL_EXPECTED)
        snprintf(line, sizeof line, "Nothing was read here yet; %s is expected.", at_tip);
    else
        snprintf(line, sizeof line,
                 "Nothing was read here yet and nothing is expected: it begins with the widest "
                 "setting and goes on from what that shows.");
    say(explanation, line);
}

/* A figure of shape has no range of its own. */
static void say_shape(struct explanation *explanation)
{
    const struct bench_point *point = explanation->point;
    char line[300];
    if (!bench_of_shape(explanation->bench, point))
        return;
    snprintf(
        line, sizeof line,
        "The %s comes from the shape of a record: the vertical setting is the one that shows the "
        "swing best, the record the shortest that is sure to hold %g periods.",
        quantity_name(point->quantity), shape_need(point->quantity).periods);
    say(explanation, line);
}

static size_t fitting(const struct explanation *explanation)
{
    size_t fits = 0;
    for (size_t i = 0; i < explanation->count; i++)
        fits += explanation->candidates[i].fits ? 1 : 0;
    return fits;
}

static void say_choice(struct explanation *explanation)
{
    const char *unit = bench_signal_unit(explanation->bench, explanation->point);
    char full_scale[NOTATION_SIZE], uncertainty[NOTATION_SIZE], line[400];
    if (explanation->source == SIGNAL_NONE || explanation->chosen == explanation->count)
        return;
    const struct weighed *chosen = &explanation->candidates[explanation->chosen];
    const struct range *range = &explanation->chain.input->ranges[chosen->setup.range];
    notation_plain(full_scale, sizeof full_scale,
                   range->full_scale * fabs(explanation->chain.probe->factor), unit);
    notation_value(uncertainty, sizeof uncertainty, predicted(explanation, &chosen->setup), 2,
                   unit);
    snprintf(line, sizeof line,
             "%zu of %zu settings hold the signal; the one of %s at the tip is used, with a "
             "predicted uncertainty of %s.",
             fitting(explanation), explanation->count, full_scale, uncertainty);
    say(explanation, line);
}

/* What the probe does to a tuned circuit at the point. */
static void say_resonance(struct explanation *explanation)
{
    const struct bench_point *point = explanation->point;
    char added[NOTATION_SIZE], own[NOTATION_SIZE], loaded[NOTATION_SIZE], line[400];
    double capacitance = chain_load(&explanation->chain, &explanation->first).capacitance;
    if (isnan(point->tuned_frequency) || isnan(capacitance))
        return;
    double shifted = tuned_loaded(point->tuned_frequency, point->tuned_capacitance, capacitance);
    notation_value(added, sizeof added, capacitance, 3, "F");
    notation_value(own, sizeof own, point->tuned_frequency, 5, "Hz");
    notation_value(loaded, sizeof loaded, shifted, 5, "Hz");
    snprintf(line, sizeof line, "The %s at the tip lower the resonance from %s to %s, by %.2g %%.",
             added, own, loaded, 100 * (1 - shifted / point->tuned_frequency));
    say(explanation, line);
}

static void say_ways(struct explanation *explanation)
{
    const struct bench_point *point = explanation->point;
    char line[300];
    size_t refused = 0;
    for (size_t i = 0; i < point->way_count; i++)
        refused += point->ways[i].refusal[0] != '\0';
    if (point->way_count == 0)
        return;
    const char *name = explanation->bench->instruments[point->instrument].name;
    if (isnan(point->expected))
        snprintf(line, sizeof line,
                 "Of %zu ways to measure it %zu cannot see the signal; nothing is expected, so %s "
                 "is used "
                 "as the first that can.",
                 point->way_count, refused, name);
    else
        snprintf(line, sizeof line,
                 "Of %zu ways to measure it %zu cannot see the signal; %s is used, as it has the "
                 "smallest "
                 "uncertainty for what is expected.",
                 point->way_count, refused, name);
    say(explanation, line);
}

bool explain_point(const struct service *service, const struct bench_point *point,
                   struct explanation *explanation, struct failure *failure)
{
    const struct bench *bench = service->loop->bench;
    *explanation = (struct explanation) { .bench = bench, .point = point };
    if (!point_chain(bench, point, &explanation->chain, failure))
        return false;
    const struct lead_zero zero = probe_checks_zero(service->probe_checks, bench, point);
    leads_take(bench, point, &zero, &explanation->chain, &explanation->leads);
    find_signal(explanation, bench, &service->loop->last[point->index]);
    weigh(explanation);
    explanation->value = tip_value(explanation, &explanation->first);
    for (size_t i = 0; i < explanation->count; i++)
        value_setup(explanation, i);
    say_ways(explanation);
    say_shape(explanation);
    say_signal(explanation);
    say_choice(explanation);
    say_resonance(explanation);
    return true;
}

void call_explain(void *context, struct rpc_call *call, const struct rpc_value *values)
{
    struct service *service = context;
    struct failure failure = { 0 };
    struct explanation explanation;
    const struct bench_point *point =
        loop_point(service->loop, values[EXPLAIN_POINT].text, &failure);
    if (point == NULL || !explain_point(service, point, &explanation, &failure)) {
        call_refuse_with(service->loop, call, &failure, service->loop->bench, point, NULL);
        return;
    }
    struct text *text = loop_text(service->loop);
    encode_explanation(text, &explanation);
    rpc_result(call, text);
}
