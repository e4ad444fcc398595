/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "pulse.h"

#include <math.h>

static const double reference_low = 0.1;
static const double reference_high = 0.9;

/* Samples that a transition must have between its instants to have a duration. */
enum { FEWEST_INSIDE = 2 };

/* The three reference levels, stored units, and the zones they part. */
struct references {
    double low;
    double mid;
    double high;
    struct zone low_state;
    struct zone between;
    struct zone high_state;
};

static struct references references_of(const struct levels *levels)
{
    double amplitude = levels->high - levels->low;
    double low = levels->low + reference_low * amplitude;
    double high = levels->low + reference_high * amplitude;
    struct references references = { low,
                                     levels->low + amplitude / 2.0,
                                     high,
                                     zone_between(-INFINITY, low),
                                     zone_between(nextafter(low, INFINITY),
                                                  nextafter(high, -INFINITY)),
                                     zone_from(high) };
    return references;
}

/* The instant between samples i - 1 and i at which a straight line passes `level`. */
static double passage(const struct series *series, size_t i, double level)
{
    double before = series_at(series, i - 1);
    return (double)(i - 1) + (level - before) / (series_at(series, i) - before);
}

/* The last passage of the mid level on the way from sample first - 1 to sample last. */
static double mid_passage(const struct series *series, const struct references *references,
                          size_t first, size_t last, bool rising)
{
    for (size_t i = last; i > first; i--) {
        double before = series_at(series, i - 1);
        if (rising ? before < references->mid : before > references->mid)
            return passage(series, i, references->mid);
    }
    return passage(series, first, references->mid);
}

/*
 * Whether what leaves the state at sample `first` reaches the other one, at sample `*last`; else
 * that is where it came back, or the record's count.
 */
static bool crosses(const struct series *series, const struct references *references, size_t first,
                    bool rising, size_t *last)
{
    *last = series_leave(series, first, &references->between);
    if (*last == series->count)
        return false;
    double x = series_at(series, *last);
    return rising ? x >= references->high : x <= references->low;
}

static struct transition describe(const struct series *series, const struct references *references,
                                  size_t first, size_t last, bool rising)
{
    double begin = passage(series, first, rising ? references->low : references->high);
    double end = passage(series, last, rising ? references->high : references->low);
    struct transition transition = { rising, rising ? begin : end,
                                     mid_passage(series, references, first, last, rising),
                                     rising ? end : begin, last - first };
    return transition;
}

/* As transition_next(), with the reference levels at hand. */
static bool next_transition(const struct series *series, const struct references *references,
                            size_t from, struct transition *transition, size_t *end)
{
    size_t i = series_leave(series, from, &references->between);
    if (i == series->count)
        return false;
    bool rising = series_at(series, i) <= references->low;
    while (i < series->count) {
        size_t first =
            series_leave(series, i, rising ? &references->low_state : &references->high_state);
        if (first == series->count)
            return false;
        if (crosses(series, references, first, rising, &i)) {
            *transition = describe(series, references, first, i, rising);
            *end = i;
            return true;
        }
    }
    return false;
}

bool transition_next(const struct series *series, const struct levels *levels, size_t from,
                     struct transition *transition, size_t *end)
{
    struct references references = references_of(levels);
    return next_transition(series, &references, from, transition, end);
}

/* What is gathered over the transitions of one direction. */
struct gathering {
    size_t count;
    size_t fewest_inside;
    double duration; /* sums, samples */
    double before;   /* worst so far, stored units */
    double after;
    double state; /* time in the state that follows, and how often it was seen to its end */
    size_t states;
};

/* How far the samples first ... last - 1 go beyond a state's level, away from the other one. */
static double aberration(const struct series *series, const struct levels *levels, bool high,
                         size_t first, size_t last)
{
    double minimum, maximum;
    if (first >= last || !series_extremes(series, first, last - first, &minimum, &maximum))
        return 0.0;
    return fmax(0.0, high ? maximum - levels->high : levels->low - minimum);
}

/* Takes in the state between two transitions; `previous` or `next` NULL at the record's ends. */
static void gather_state(const struct series *series, const struct levels *levels, bool high,
                         size_t first, size_t last, struct gathering *previous,
                         struct gathering *next)
{
    size_t split = !previous ? first : !next ? last : first + (last - first + 1) / 2;
    if (previous)
        previous->after = fmax(previous->after, aberration(series, levels, high, first, split));
    if (next)
        next->before = fmax(next->before, aberration(series, levels, high, split, last));
}

static void gather(struct gathering *gathering, const struct transition *transition)
{
    size_t inside = transition->inside;
    gathering->duration += fabs(transition->at_90 - transition->at_10);
    if (gathering->count == 0 || inside < gathering->fewest_inside)
        gathering->fewest_inside = inside;
    gathering->count++;
}

/* The whole record: rises in sides[1], falls in sides[0]. */
static void gather_all(const struct series *series, const struct levels *levels,
                       struct gathering sides[2])
{
    struct references references = references_of(levels);
    struct transition transition;
    struct gathering *previous = NULL;
    double since = NAN;
    size_t from = 0, end;
    while (next_transition(series, &references, from, &transition, &end)) {
        struct gathering *next = &sides[transition.rising];
        size_t leaves = (size_t)(transition.rising ? transition.at_10 : transition.at_90) + 1;
        gather_state(series, levels, !transition.rising, from, leaves, previous, next);
        gather(next, &transition);
        if (previous) {
            previous->state += transition.at_50 - since;
            previous->states++;
        }
        since = transition.at_50;
        previous = next;
        from = end;
    }
    if (previous)
        gather_state(series, levels, previous == &sides[1], from, series->count, previous, NULL);
}

static struct transitions summary(const struct gathering *gathering, double amplitude,
                                  double interval)
{
    struct transitions none = { 0, NAN, NAN, NAN };
    if (gathering->count == 0)
        return none;
    bool resolved = gathering->fewest_inside >= FEWEST_INSIDE;
    struct transitions seen = {
        gathering->count,
        resolved ? gathering->duration / (double)gathering->count * interval : NAN,
        gathering->before / amplitude,
        gathering->after / amplitude,
    };
    return seen;
}

static double mean_state(const struct gathering *gathering, double interval)
{
    return gathering->states > 0 ? gathering->state / (double)gathering->states * interval : NAN;
}

void pulse_between(const struct series *series, const struct levels *levels, double frequency,
                   struct pulse *pulse)
{
    struct gathering sides[2] = { { 0 }, { 0 } };
    gather_all(series, levels, sides);
    double amplitude = levels->high - levels->low;
    struct pulse seen = { .low = series_value(series, levels->low),
                          .high = series_value(series, levels->high),
                          .amplitude = series->scale * amplitude,
                          .rise = summary(&sides[1], amplitude, series->interval),
                          .fall = summary(&sides[0], amplitude, series->interval),
                          .high_duration = mean_state(&sides[1], series->interval),
                          .low_duration = mean_state(&sides[0], series->interval) };
    seen.duty = isnan(seen.high_duration) ? 1.0 - seen.low_duration * frequency
                                          : seen.high_duration * frequency;
    *pulse = seen;
}

enum wave_reason pulse_measure(const struct series *series, const struct waveform *waveform,
                               struct pulse *pulse)
{
    double minimum, maximum;
    if (!series_extremes(series, 0, series->count, &minimum, &maximum))
        return WAVE_BAD_SAMPLES;
    struct levels levels;
    enum wave_reason reason =
        levels_find(series, minimum, maximum, waveform->noise / series->scale, &levels);
    if (reason == WAVE_NONE)
        pulse_between(series, &levels, waveform->frequency, pulse);
    return reason;
}
