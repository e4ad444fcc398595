/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "scope_wait.h"

#include "feed.h"
#include "spread.h"

#include <math.h>

/* Waveforms start at any time within so many seconds. */
#define PHASE_SPAN_S 1000.0
/* The comparator is off by this share of what the gain may be off by, in divisions. */
#define LEVEL_ERROR 0.1
/* It hears no pulse shorter than this, and looks no finer. */
#define FINEST_S   1e-7
#define COARSEST_S 2e-4

enum { LOOKS_A_PERIOD = 200, HALVINGS = 30 };

void scope_arm(struct scope *scope, double now, gsl_rng *rng)
{
    struct scope_trigger *trigger = &scope->trigger;

    trigger->armed = true;
    trigger->armed_at = now;
    trigger->start = spread_unit(rng) * PHASE_SPAN_S;
    trigger->searched = now + trigger->share * scope->time;
    trigger->was_beyond = true;
    for (size_t i = 0; i < SCOPE_INPUTS; i++)
        scope->inputs[i].recorded = false;
}

void scope_disarm(struct scope *scope)
{
    scope->trigger.armed = false;
}

/* The volts at which it really triggers. */
static double true_level(const struct scope *scope)
{
    const struct scope_input *in = &scope->inputs[scope->trigger.source - 1];
    double bound = scope->type->gain;

    return scope->trigger.level + (bound > 0.0 ? in->gain_error[in->step] / bound : 0.0) *
                                      LEVEL_ERROR * scope->type->steps[in->step];
}

static bool beyond(const struct scope *scope, const struct feed *feed, double at)
{
    const struct scope_trigger *trigger = &scope->trigger;
    double frequency = feed->source != NULL ? feed->source->wave.frequency : 0.0;
    double phase = feed_phase(feed, trigger->start) + (at - trigger->armed_at) * frequency;
    double volts = feed_quiet(feed, at, phase);

    return trigger->rising ? volts > true_level(scope) : volts < true_level(scope);
}

/* How far to the next look: fine enough for the waveform, and on each edge of what comes and goes. */
static double next_look(const struct scope *scope, const struct feed *feed, double at)
{
    double step = fmin(fmax(scope->time / (double)(scope->points - 1), FINEST_S), COARSEST_S);

    if (feed->source == NULL)
        return at + step;
    if (feed->source->wave.frequency > 0.0)
        step = fmin(step, fmax(1.0 / feed->source->wave.frequency / LOOKS_A_PERIOD, FINEST_S));
    double edge = source_next_edge(feed->source, at);
    return edge > at && edge < at + step ? edge + 1e-9 : at + step;
}

/* Between two looks of which only the second is beyond: when it passed the level. */
static double passed_at(const struct scope *scope, const struct feed *feed, double from, double to)
{
    for (int i = 0; i < HALVINGS; i++) {
        double middle = (from + to) / 2.0;

        if (beyond(scope, feed, middle))
            to = middle;
        else
            from = middle;
    }
    return to;
}

bool scope_look(struct scope *scope, const struct tie *ties, double now, double *end, gsl_rng *rng)
{
    struct scope_trigger *trigger = &scope->trigger;
    struct feed feed = feed_of(scope, trigger->source - 1, &ties[trigger->source - 1], rng);

    while (trigger->searched < now) {
        double from = trigger->searched;
        bool is = beyond(scope, &feed, from);

        if (is && !trigger->was_beyond) {
            double at = passed_at(scope, &feed, trigger->looked, from);
            double first = at - trigger->share * scope->time;

            trigger->armed = false;
            scope_record(scope, ties, first, trigger->start + first - trigger->armed_at, rng);
            *end = first + scope->time;
            return true;
        }
        trigger->was_beyond = is;
        trigger->looked = from;
        trigger->searched = next_look(scope, &feed, from);
    }
    return false;
}
