/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "flat_top.h"

#include <math.h>

enum { OFTEN = 3, LONG_RUN = 3, FEWEST_BENDS = 32 };

/* How often the extreme comes over its neighbours, from which on it is flat. */
static const double flat_share = 4;

/*
 * Second differences beyond this many steps are noise: rounding to steps makes at most two, and
 * the crest of a sine on which three samples are equal bends by at most 8/9 of one (own
 * derivation: A (1 - cos(3 w / 2)) = 1 step).
 */
static const double rough_bend = 3;

/* The share of them that makes a record rough: white noise of a sigma of 1.06 steps has it. */
static const double rough_share = 0.25;

/* One extreme, seen so that it is a maximum. */
struct extreme {
    double value;
    double near;  /* neighbours lie from here up to the value */
    size_t equal; /* samples at it */
    size_t beside;
    size_t run;
    size_t longest;
};

static void note(struct extreme *extreme, double x)
{
    bool equal = x == extreme->value;
    extreme->run = equal ? extreme->run + 1 : 0;
    extreme->longest = extreme->run > extreme->longest ? extreme->run : extreme->longest;
    extreme->equal += equal;
    extreme->beside += !equal && x > extreme->near;
}

static bool is_flat(const struct extreme *extreme)
{
    return extreme->equal >= OFTEN && (double)extreme->equal > flat_share * (double)extreme->beside;
}

/* Whether the samples between both extremes jump as noise does. */
static bool is_rough(const double *samples, size_t count, double low, double high, double step)
{
    size_t bends = 0, large = 0;
    for (size_t i = 1; i + 1 < count; i++) {
        double least = fmin(fmin(samples[i - 1], samples[i]), samples[i + 1]);
        double most = fmax(fmax(samples[i - 1], samples[i]), samples[i + 1]);
        double bend = samples[i - 1] - 2 * samples[i] + samples[i + 1];
        bool between = least > low && most < high;
        bends += between;
        large += between && fabs(bend) > rough_bend * step;
    }
    return bends >= FEWEST_BENDS && (double)large > rough_share * (double)bends;
}

struct flat_top flat_top(const double *samples, size_t count, const struct ends *ends)
{
    struct flat_top flat = { false, false };
    double low = INFINITY, high = -INFINITY;
    for (size_t i = 0; i < count; i++) {
        low = fmin(low, samples[i]);
        high = fmax(high, samples[i]);
    }
    struct extreme top = { .value = high, .near = high - 1.5 * ends->step };
    struct extreme bottom = { .value = -low, .near = -low - 1.5 * ends->step };
    for (size_t i = 0; i < count; i++) {
        note(&top, samples[i]);
        note(&bottom, -samples[i]);
    }
    bool flat_high = is_flat(&top), flat_low = is_flat(&bottom);
    if (!flat_high && !flat_low)
        return flat;
    bool rough = is_rough(samples, count, low, high, ends->step);
    flat.high =
        flat_high && (high >= ends->high - ends->slack || (rough && top.longest >= LONG_RUN));
    flat.low =
        flat_low && (low <= ends->low + ends->slack || (rough && bottom.longest >= LONG_RUN));
    return flat;
}
