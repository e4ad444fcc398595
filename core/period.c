/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "period.h"

#include "sum.h"

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
    double candidate; /* the latest passage of the mid level, not confirmed yet */
    double first;
    double last;
    double shortest; /* distances between successive crossings */
    double longest;
};

/* A function of one sample that is to be averaged: (x - centre)^power. */
struct moment {
    double centre;
    int power; /* 1 or 2 */
};

/* The instant, between samples i - 1 and i, at which a straight line passes `level`. */
static double passage(const double *volts, size_t i, double level)
{
    double fraction = (level - volts[i - 1]) / (volts[i] - volts[i - 1]);
    return (double)(i - 1) + fraction;
}

static void confirm(struct crossings *crossings)
{
    double instant = crossings->candidate;
    if (crossings->count == 0) {
        crossings->first = instant;
    } else {
        double period = instant - crossings->last;
        crossings->shortest = fmin(crossings->shortest, period);
        crossings->longest = fmax(crossings->longest, period);
    }
    crossings->last = instant;
    crossings->count++;
}

/*
 * Finds the crossings of `level` in both directions. One counts when the
 * signal comes from beyond the hysteresis on one side and reaches beyond it on
 * the other; of several passages in between, the last is the instant.
 */
static void find_crossings(const double *volts, size_t count, double level, double hysteresis,
                           struct crossings *up, struct crossings *down)
{
    bool from_below = volts[0] < level - hysteresis;
    bool from_above = volts[0] > level + hysteresis;
    for (size_t i = 1; i < count; i++) {
        if (volts[i - 1] < level && volts[i] >= level) {
            up->candidate = passage(volts, i, level);
        } else if (volts[i - 1] >= level && volts[i] < level) {
            down->candidate = passage(volts, i, level);
        }
        if (volts[i] > level + hysteresis) {
            if (from_below) {
                confirm(up);
            }
            from_above = true;
            from_below = false;
        } else if (volts[i] < level - hysteresis) {
            if (from_above) {
                confirm(down);
            }
            from_below = true;
            from_above = false;
        }
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
    if (crossings->count < 2) {
        return stretch;
    }
    double periods = (double)(crossings->count - 1);
    double mean = (crossings->last - crossings->first) / periods;
    bool alike = crossings->longest - crossings->shortest <= period_spread * mean;
    bool ends_fit = crossings->first <= longest_end * mean &&
                    (double)(count - 1) - crossings->last <= longest_end * mean;
    if (periods >= fewest && alike && ends_fit) {
        stretch.periods = periods;
    }
    return stretch;
}

struct stretch period_find(const double *volts, size_t count, double minimum, double maximum,
                           double noise)
{
    double height = maximum - minimum;
    double level = minimum + height / 2.0;
    double wanted = fmax(hysteresis_fraction * height, hysteresis_sigmas * noise);
    double hysteresis = fmin(wanted, hysteresis_cap * height);
    double fewest = wanted > hysteresis ? periods_to_trust_noise : 1.0;
    struct crossings up = { .shortest = INFINITY, .longest = 0.0 };
    struct crossings down = up;
    find_crossings(volts, count, level, hysteresis, &up, &down);
    struct stretch rising = whole_periods(&up, count, fewest);
    struct stretch falling = whole_periods(&down, count, fewest);
    return falling.periods > rising.periods ? falling : rising;
}

double period_frequency(const struct stretch *stretch)
{
    return stretch->periods > 0.0 ? stretch->periods / (stretch->end - stretch->begin) : NAN;
}

static double moment_of(const struct moment *moment, double x)
{
    double deviation = x - moment->centre;
    return moment->power == 1 ? deviation : deviation * deviation;
}

/* The moment halfway between two samples, as their straight connection has it. */
static double moment_between(const struct moment *moment, const double *volts, size_t i,
                             double fraction)
{
    double here = moment_of(moment, volts[i]);
    return fraction == 0.0 ? here : here + fraction * (moment_of(moment, volts[i + 1]) - here);
}

static double average_all(const double *volts, size_t count, const struct moment *moment)
{
    struct sum sum = { 0.0, 0.0 };
    for (size_t i = 0; i < count; i++) {
        sum_add(&sum, moment_of(moment, volts[i]));
    }
    return sum_value(&sum) / (double)count;
}

/*
 * Trapezoids from instant to instant. The moment itself, not the signal, is
 * taken as straight between samples, so that the steep edge of a square, where
 * the crossings lie, does not lower its mean square.
 */
static double average_periods(const double *volts, const struct moment *moment,
                              const struct stretch *stretch)
{
    size_t first = (size_t)stretch->begin;
    size_t last = (size_t)stretch->end;
    double lead = stretch->begin - (double)first;
    double tail = stretch->end - (double)last;
    struct sum sum = { 0.0, 0.0 };
    for (size_t i = first + 1; i <= last; i++) {
        sum_add(&sum, moment_of(moment, volts[i]));
    }
    /* Whole samples stand for half an interval on either side; now the ends are put right. */
    double after_first = moment_of(moment, volts[first + 1]);
    double at_last = moment_of(moment, volts[last]);
    double at_begin = moment_between(moment, volts, first, lead);
    double at_end = moment_between(moment, volts, last, tail);
    sum_add(&sum, (1.0 - lead) * (at_begin + after_first) / 2.0 - after_first / 2.0);
    sum_add(&sum, tail * (at_last + at_end) / 2.0 - at_last / 2.0);
    return sum_value(&sum) / (stretch->end - stretch->begin);
}

static double average(const double *volts, size_t count, const struct moment *moment,
                      const struct stretch *stretch)
{
    return stretch->periods > 0.0 ? average_periods(volts, moment, stretch)
                                  : average_all(volts, count, moment);
}

double period_mean(const double *volts, size_t count, const struct stretch *stretch)
{
    struct moment mean = { .centre = 0.0, .power = 1 };
    return average(volts, count, &mean, stretch);
}

double period_mean_square(const double *volts, size_t count, double centre,
                          const struct stretch *stretch)
{
    struct moment square = { .centre = centre, .power = 2 };
    double result = average(volts, count, &square, stretch);
    /* Rounding can leave a hair below zero; NAN, an overflow, has to stay. */
    return result < 0.0 ? 0.0 : result;
}
