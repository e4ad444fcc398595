/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "period.h"

#include "core/basics/sum.h"

#include <math.h>
#include <stdbool.h>

/*
 * Hysteresis of the crossing detector, as a half-width around the mid level:
 * a tenth of the peak-to-peak value or four times the noise, whichever is
 * more. Beyond hysteresis_cap of the peak-to-peak value it could hide the signal
 * itself, so it stops there, and periods must then prove themselves by number.
 */
static const double hysteresis_fraction = 0.1;
static const double hysteresis_sigmas = 4.0;
static const double hysteresis_cap = 0.3;
static const double periods_to_trust_noise = 4.0;

/* Periods that differ by more than this, of their mean, are not periods. */
static const double period_spread = 0.1;

/*
 * So much of a period may pass at either end of the record with no crossing
 * in it: one period, and what the hysteresis may hide of a crossing there.
 */
static const double longest_end = 1.25;

/* All crossings of the mid level in one direction. */
struct crossings {
    size_t count;
    double first;
    double last;
    double shortest; /* distances between successive crossings */
    double longest;
};

/* A function of one sample that is to be averaged. */
enum moment { MOMENT_DEVIATION, MOMENT_SQUARE, MOMENT_MAGNITUDE };

/* What the moments are taken about. */
struct centres {
    double centre;
    double zero;
};

/* The instant, between samples i - 1 and i, at which a straight line passes `level`. */
static double passage(const struct series *series, size_t i, double level)
{
    double before = series_at(series, i - 1);
    return (double)(i - 1) + (level - before) / (series_at(series, i) - before);
}

static void confirm(struct crossings *crossings, double instant)
{
    if (crossings->count == 0) {
        crossings->first = instant;
    } else {
        double period = instant - crossings->last;
        crossings->shortest = period < crossings->shortest ? period : crossings->shortest;
        crossings->longest = period > crossings->longest ? period : crossings->longest;
    }
    crossings->last = instant;
    crossings->count++;
}

/* A walk along the record, from passage to passage of the level. */
struct walk {
    const struct series *series;
    double level;
    struct crossings *up;
    struct crossings *down;
    bool above;     /* where it is now */
    bool was_above; /* where it last was beyond the hysteresis, once it was */
    bool was_beyond;
    size_t passed; /* first sample behind the last passage */
};

/* It is beyond the hysteresis: a crossing where it last was so on the other side. */
static void reach(struct walk *walk)
{
    if (walk->was_beyond && walk->was_above != walk->above) {
        confirm(walk->above ? walk->up : walk->down,
                passage(walk->series, walk->passed, walk->level));
    }
    walk->was_beyond = true;
    walk->was_above = walk->above;
}

/* The samples of one word, in pieces between passages; `first` is the sample of its lowest bit. */
static void walk_word(struct walk *walk, uint64_t above, uint64_t beyond, size_t first)
{
    uint64_t passages = above ^ (above << 1 | walk->above);
    for (;;) {
        uint64_t piece = (passages & -passages) - 1; /* all that is left, where there is none */
        if (beyond & piece)
            reach(walk);
        if (!passages)
            return;
        beyond &= ~piece;
        walk->passed = first + (size_t)__builtin_ctzll(passages);
        walk->above = !walk->above;
        passages &= passages - 1;
    }
}

/*
 * Finds the crossings of `level` in both directions. One counts when the
 * signal comes from beyond the hysteresis on one side and reaches beyond it on
 * the other; of several passages in between, the last is the instant.
 */
static void find_crossings(const struct series *series, double level, double hysteresis,
                           struct crossings *up, struct crossings *down)
{
    struct zone around = zone_between(level - hysteresis, level + hysteresis);
    struct walk walk = { .series = series,
                         .level = level,
                         .up = up,
                         .down = down,
                         .above = series_at(series, 0) >= level };
    for (size_t first = 0; first < series->count; first += SERIES_SPAN) {
        struct series_sides sides;
        series_sort(series, first, level, &around, &sides);
        for (size_t i = 0; i < SERIES_SPAN / SERIES_BITS; i++)
            walk_word(&walk, sides.above[i], sides.beyond[i], first + i * SERIES_BITS);
    }
}

/*
 * The whole periods between like crossings. They must be alike, and the ends
 * of the record must not be so long that another crossing is missing there:
 * two chance crossings, or a burst, are no period.
 */
static struct stretch whole_periods(const struct crossings *crossings, size_t count, double fewest)
{
    struct stretch stretch = { crossings->first, crossings->last, 0.0 };
    if (crossings->count < 2)
        return stretch;
    double periods = (double)(crossings->count - 1);
    double mean = (crossings->last - crossings->first) / periods;
    bool alike = crossings->longest - crossings->shortest <= period_spread * mean;
    bool ends_fit = crossings->first <= longest_end * mean &&
                    (double)(count - 1) - crossings->last <= longest_end * mean;
    if (periods >= fewest && alike && ends_fit)
        stretch.periods = periods;
    return stretch;
}

double period_hysteresis(double height, double noise)
{
    double wanted = fmax(hysteresis_fraction * height, hysteresis_sigmas * noise);
    return fmin(wanted, hysteresis_cap * height);
}

struct stretch period_find(const struct series *series, double minimum, double maximum,
                           double noise)
{
    double height = maximum - minimum;
    double level = minimum + height / 2.0;
    double hysteresis = period_hysteresis(height, noise);
    bool capped = hysteresis < hysteresis_sigmas * noise;
    double fewest = capped ? periods_to_trust_noise : 1.0;
    struct crossings up = { .shortest = INFINITY, .longest = 0.0 };
    struct crossings down = up;
    find_crossings(series, level, hysteresis, &up, &down);
    struct stretch rising = whole_periods(&up, series->count, fewest);
    struct stretch falling = whole_periods(&down, series->count, fewest);
    return falling.periods > rising.periods ? falling : rising;
}

double period_frequency(const struct stretch *stretch)
{
    return stretch->periods > 0.0 ? stretch->periods / (stretch->end - stretch->begin) : NAN;
}

/* Standard deviation of a uniform distribution of width 1: what hides within a converter's step. */
static const double uniform_sigma = 0.28867513459481288;

/* How steep the record is, per sample, between the hysteresis bounds around an instant. */
static double slope_at(const struct series *series, size_t i, double level, double hysteresis)
{
    size_t before = i, after = i + 1;
    while (before > 0 && fabs(series_at(series, before) - level) < hysteresis)
        before--;
    while (after + 1 < series->count && fabs(series_at(series, after) - level) < hysteresis)
        after++;
    return fabs(series_at(series, after) - series_at(series, before)) / (double)(after - before);
}

/* The most that the instant can be off because it lies between samples i and i + 1. */
static double hidden_between(const struct series *series, size_t i)
{
    double here = series_at(series, i), next = series_at(series, i + 1);
    double bend = 0.0;
    if (i > 0)
        bend = fabs(series_at(series, i - 1) - 2.0 * here + next);
    if (i + 2 < series->count)
        bend = fmax(bend, fabs(here - 2.0 * next + series_at(series, i + 2)));
    return fmin(bend / (2.0 * fabs(next - here)), 0.5);
}

/* Variance of one instant, samples squared. Noise bends a record as well, so it is counted once. */
static double instant_variance(const struct series *series, double instant, double level,
                               double hysteresis, double noise)
{
    size_t i = (size_t)instant;
    double slope = slope_at(series, i, level, hysteresis);
    if (!(slope > 0.0))
        return INFINITY;
    double jitter = fmax(noise, series->step * uniform_sigma) / slope;
    double hidden = hidden_between(series, i);
    return jitter * jitter + hidden * hidden / 3.0;
}

double period_frequency_uncertainty(const struct series *series, const struct stretch *stretch,
                                    double minimum, double maximum, double noise)
{
    if (!(stretch->periods > 0.0))
        return NAN;
    double height = maximum - minimum;
    double level = minimum + height / 2.0;
    double hysteresis = period_hysteresis(height, noise);
    double variance = instant_variance(series, stretch->begin, level, hysteresis, noise) +
                      instant_variance(series, stretch->end, level, hysteresis, noise);
    return sqrt(variance) / (stretch->end - stretch->begin);
}

static double moment_of(const struct centres *about, enum moment moment, double x)
{
    double deviation = x - about->centre;
    switch (moment) {
    case MOMENT_DEVIATION:
        return deviation;
    case MOMENT_SQUARE:
        return deviation * deviation;
    case MOMENT_MAGNITUDE:
        break;
    }
    return fabs(x - about->zero);
}

/* The moment halfway between two samples, as their straight connection has it. */
static double moment_between(const struct series *series, const struct centres *about,
                             enum moment moment, size_t i, double fraction)
{
    double here = moment_of(about, moment, series_at(series, i));
    if (fraction == 0.0)
        return here;
    return here + fraction * (moment_of(about, moment, series_at(series, i + 1)) - here);
}

/*
 * The average of a moment from its sum over the whole samples first + 1 ... last:
 * trapezoids from instant to instant. Whole samples stand for half an interval on
 * either side; here the ends are put right. The moment itself, not the signal, is
 * taken as straight between samples, so that the steep edge of a square, where
 * the crossings lie, does not lower its mean square.
 */
static double trimmed(const struct series *series, const struct stretch *stretch,
                      const struct centres *about, enum moment moment, double whole)
{
    size_t first = (size_t)stretch->begin;
    size_t last = (size_t)stretch->end;
    double lead = stretch->begin - (double)first;
    double tail = stretch->end - (double)last;
    double after_first = moment_of(about, moment, series_at(series, first + 1));
    double at_last = moment_of(about, moment, series_at(series, last));
    double at_begin = moment_between(series, about, moment, first, lead);
    double at_end = moment_between(series, about, moment, last, tail);
    struct sum sum = { whole, 0.0 };
    sum_add(&sum, (1.0 - lead) * (at_begin + after_first) / 2.0 - after_first / 2.0);
    sum_add(&sum, tail * (at_last + at_end) / 2.0 - at_last / 2.0);
    return sum_value(&sum) / (stretch->end - stretch->begin);
}

/* The averages of all three moments; `mean` and `mean_square` here about the centre. */
static struct averages average(const struct series *series, const struct stretch *stretch,
                               const struct centres *about)
{
    if (!(stretch->periods > 0.0)) {
        struct series_sums sums = series_sum(series, 0, series->count, about->centre, about->zero);
        double n = (double)series->count;
        struct averages all = { sums.deviation / n, sums.square / n, sums.magnitude / n };
        return all;
    }
    size_t first = (size_t)stretch->begin + 1;
    size_t count = (size_t)stretch->end + 1 - first;
    struct series_sums sums = series_sum(series, first, count, about->centre, about->zero);
    struct averages periods = {
        trimmed(series, stretch, about, MOMENT_DEVIATION, sums.deviation),
        trimmed(series, stretch, about, MOMENT_SQUARE, sums.square),
        trimmed(series, stretch, about, MOMENT_MAGNITUDE, sums.magnitude),
    };
    return periods;
}

/* So much of the mean square about a centre may be due to its distance from the mean. */
static const double most_displaced = 0.75;

struct averages period_average(const struct series *series, const struct stretch *stretch,
                               double middle)
{
    struct centres about = { series->codes ? rint(middle) : middle,
                             -series->offset / series->scale };
    struct averages seen = average(series, stretch, &about);
    if (seen.mean * seen.mean > most_displaced * seen.mean_square) {
        double mean = about.centre + seen.mean;
        about.centre = series->codes ? rint(mean) : mean;
        seen = average(series, stretch, &about);
    }
    struct averages result = { about.centre + seen.mean, seen.mean_square - seen.mean * seen.mean,
                               seen.magnitude };
    /* Rounding can leave a hair below zero; NAN, an overflow, has to stay. */
    if (result.mean_square < 0.0)
        result.mean_square = 0.0;
    return result;
}
