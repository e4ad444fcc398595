/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "second_look.h"

#include "record_choice.h"

#include "core/basics/notation.h"
#include "core/waveform/alias.h"
#include "core/waveform/timebase.h"

#include <math.h>
#include <stdio.h>

/*
 * What the input still lets through, in -3 dB frequencies: a first-order
 * response has lost more than half there, a steeper one nearly all
 * (common practice, no source).
 */
static const double lets_through = 2;

/* Of the swing in the record: what moves less in a faster one is not the signal itself. */
static const double part_of_swing = 0.25;

/*
 * Noise of a record over its swing from which on its samples jump rather than follow a
 * course: white noise of a thousand samples has 0.15, a sine of five samples a period 0.29.
 */
static const double rough_noise = 0.25;

/* Bound on a time base's own error; typical ones are better than 1e-4 (common practice, no source). */
static const double timebase_error = 1e-3;

/* Two frequencies up to this far apart, relative, are the same signal. */
static const double same_share = 0.02;

static double highest_of(const struct chain *chain, const struct scope *scope)
{
    double bandwidth = suitability_combined_bandwidth(chain->abilities.bandwidth,
                                                      chain->abilities.probe_bandwidth);
    return isnan(bandwidth) ? (double)scope->points / scope->durations[0] / 2
                            : lets_through * bandwidth;
}

static double swing_of(const struct acquisition *acquisition)
{
    return acquisition->signal.high - acquisition->signal.low;
}

static struct apparent apparent_of(const struct acquisition *acquisition)
{
    const struct waveform *waveform = &acquisition->waveform;
    double bound = 3 * waveform->frequency_uncertainty + timebase_error * waveform->frequency;
    return (struct apparent) { waveform->frequency, isfinite(bound) ? bound : waveform->frequency,
                               1 / waveform->interval };
}

/* Whether a faster record shows the signal at another frequency than the one held so far. */
static bool shows_another(const struct acquisition *seen, const struct acquisition *faster,
                          const struct apparent *held)
{
    double frequency = faster->waveform.frequency;
    bool another = !(fabs(frequency - held->frequency) <= same_share * frequency);
    return isfinite(frequency) && another && swing_of(faster) >= part_of_swing * swing_of(seen);
}

/* Whether the samples jump as those of a signal near half the sample rate do. */
static bool is_rough(const struct acquisition *acquisition)
{
    return acquisition->waveform.noise > rough_noise * swing_of(acquisition);
}

/*
 * The frequency that a record shows, or what it may be where it shows none: a
 * large and rough swing is one near half the sample rate, everything else is
 * slower than the record is long.
 */
static double apparent_in(const struct acquisition *seen, const struct acquisition *faster)
{
    const struct waveform *waveform = &faster->waveform;
    bool large = swing_of(faster) >= part_of_swing * swing_of(seen);
    if (isfinite(waveform->frequency))
        return waveform->frequency;
    return large && is_rough(faster) ? 1 / waveform->interval / 2
                                     : 1 / (waveform->interval * (double)waveform->count);
}

static void give_up(struct second_look *look, const char *reason)
{
    look->frequency = NAN;
    snprintf(look->reason, sizeof look->reason, "%s", reason);
}

/* What has been found in the end: the frequency held, if it explains the one seen first. */
static void conclude(const struct apparent *first, const struct apparent *held,
                     struct second_look *look)
{
    char seen[NOTATION_SIZE], there[NOTATION_SIZE];
    double frequency;
    look->frequency = held->frequency;
    if (!look->alias || isnan(first->frequency))
        return;
    if (alias_judge(first, held, held->rate / 2, &frequency) == ALIAS_UNEXPLAINED) {
        give_up(look, "looks at other sample rates contradict each other");
        return;
    }
    notation_value(seen, sizeof seen, first->frequency, 3, "Hz");
    notation_value(there, sizeof there, held->frequency, 3, "Hz");
    snprintf(look->reason, sizeof look->reason, "what looked like %.40s was an alias of %.40s",
             seen, there);
}

/* What is known while the rates go up. */
struct ladder {
    const struct acquisition *seen;
    struct apparent held; /* what the signal is taken for so far */
    double rate;          /* the highest looked at */
    double apparent;      /* what showed there */
    bool ended;           /* it cannot be told, and the reason is given */
};

static void climb(struct ladder *ladder, const struct acquisition *acquisition,
                  struct second_look *look)
{
    if (acquisition->overload) {
        give_up(look, "a look at a higher sample rate was beyond the range");
        ladder->ended = true;
        return;
    }
    ladder->rate = 1 / acquisition->waveform.interval;
    ladder->apparent = apparent_in(ladder->seen, acquisition);
    if (shows_another(ladder->seen, acquisition, &ladder->held)) {
        look->alias = true;
        ladder->held = apparent_of(acquisition);
    }
}

bool second_look_due(const struct acquisition *seen)
{
    return seen->has_waveform && (isfinite(seen->waveform.frequency) || is_rough(seen));
}

bool second_look(const struct acquirer *acquirer, const struct scope *scope,
                 const struct request *request, const struct acquisition *seen,
                 struct second_look *look, struct failure *failure)
{
    const struct apparent first = apparent_of(seen);
    struct ladder ladder = { seen, first, first.rate, apparent_in(seen, seen), false };
    double highest = highest_of(acquirer->chain, scope);
    struct request faster = *request;
    *look = (struct second_look) { .frequency = NAN };
    while (!ladder.ended && ladder.rate - ladder.apparent <= highest) {
        struct acquisition acquisition;
        size_t choice;
        double lowest = ladder.rate - ladder.apparent;
        if (!timebase_faster(scope->durations, scope->duration_count, lowest, TIMEBASE_SHOWS,
                             (double)scope->points / ladder.rate, &choice)) {
            give_up(look, "it may be an alias, and the time base has no rate that would tell");
            ladder.ended = true;
            break;
        }
        faster.duration = scope->durations[choice];
        if (!acquire(acquirer, &faster, &acquisition, NULL, failure))
            return false;
        climb(&ladder, &acquisition, look);
    }
    if (ladder.ended)
        look->alias = true;
    else
        conclude(&first, &ladder.held, look);
    return true;
}

void second_look_compare(struct second_look *look, const struct waveform *waveform)
{
    look->alias = !record_shows(waveform, look->frequency);
    look->frequency = look->alias ? NAN : waveform->frequency;
    if (look->alias)
        give_up(look, "the frequency is another in each look");
}

/* Intervals of a record are one fewer than its samples, and rates only nearly what they are called. */
static const double nearly = 0.98;

/* More swing than a flat record has by this many steps and this factor is no noise of the same input. */
static const double still_flat_steps = 3;
static const double still_flat_share = 2;

static double step_of(const struct acquirer *acquirer, const struct request *request)
{
    return acquirer->chain->input->ranges[request->setup.range].resolution;
}

bool looks_flat(const struct acquirer *acquirer, const struct request *request,
                const struct acquisition *seen)
{
    if (!seen->has_waveform)
        return false;
    enum wave_reason reason =
        waveform_unfit(&seen->waveform, -INFINITY, INFINITY, step_of(acquirer, request));
    return reason == WAVE_FLAT || reason == WAVE_NOISY;
}

/* Whether a look lies outside of all that the record showed. */
static bool is_elsewhere(const struct acquisition *seen, const struct acquisition *look,
                         double step)
{
    double level = look->signal.mean, room = still_flat_steps * step;
    return level > seen->signal.high + room || level < seen->signal.low - room;
}

bool flat_look(const struct acquirer *acquirer, const struct scope *scope,
               const struct request *request, const struct acquisition *seen, double *duration,
               bool *moved, struct failure *failure)
{
    double flat = still_flat_share * swing_of(seen) + still_flat_steps * step_of(acquirer, request);
    struct request faster = *request;
    size_t choice;
    *duration = NAN;
    *moved = false;
    if (!looks_flat(acquirer, request, seen))
        return true;
    double rate = 1 / seen->waveform.interval;
    double highest = highest_of(acquirer->chain, scope);
    while (rate <= nearly * highest &&
           timebase_faster(scope->durations, scope->duration_count, rate, nearly,
                           (double)scope->points / rate, &choice)) {
        struct acquisition acquisition;
        faster.duration = scope->durations[choice];
        if (!acquire(acquirer, &faster, &acquisition, NULL, failure))
            return false;
        if (acquisition.overload || swing_of(&acquisition) > flat) {
            *duration = faster.duration;
            return true;
        }
        *moved |= is_elsewhere(seen, &acquisition, step_of(acquirer, request));
        rate = 1 / acquisition.waveform.interval;
    }
    return true;
}
