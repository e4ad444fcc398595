/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "rhythm.h"

#include "period.h"

#include <math.h>

enum { MOST_KEPT = 256, SEARCH_STEPS = 80 };

/* Steps over so much of the height on average: most edges have no sample on their way. */
static const double steep = 0.75;

/* A sample that is nearer to the level, in sigma, may be on either side of it. */
static const double doubtful = 5.0;

/* Crossings may be so far, in periods, from where the rough frequency has them. */
static const double most_irregular = 0.25;

/* By how many samples edges may come too early or too late. */
static const double most_jitter = 0.2;

/* Crossings in one direction; of many each second, fourth ... one is kept. */
struct passes {
    size_t count;
    size_t stride;
    size_t kept;
    double steps; /* sum of how large the steps across the level are */
    double number[MOST_KEPT];
    double low[MOST_KEPT]; /* samples: not before, not after */
    double high[MOST_KEPT];
    double instant[MOST_KEPT]; /* by a straight line */
};

struct look {
    const struct series *series;
    double level;
    double noise;
    struct passes up, down;
};

static void thin(struct passes *passes)
{
    for (size_t i = 0; 2 * i < passes->kept; i++) {
        passes->number[i] = passes->number[2 * i];
        passes->low[i] = passes->low[2 * i];
        passes->high[i] = passes->high[2 * i];
        passes->instant[i] = passes->instant[2 * i];
    }
    passes->kept = (passes->kept + 1) / 2;
    passes->stride *= 2;
}

/* A crossing between the samples i - 1 and i. */
static void keep(const struct look *look, size_t i, struct passes *passes)
{
    double before = series_at(look->series, i - 1), after = series_at(look->series, i);
    double unsure = doubtful * look->noise;
    passes->steps += fabs(after - before);
    if (passes->count % passes->stride == 0) {
        if (passes->kept == MOST_KEPT)
            thin(passes);
        if (passes->count % passes->stride == 0) {
            size_t k = passes->kept++;
            passes->number[k] = (double)passes->count;
            passes->low[k] = (double)i - (fabs(before - look->level) < unsure ? 2 : 1);
            passes->high[k] = (double)i + (fabs(after - look->level) < unsure ? 1 : 0);
            passes->instant[k] = (double)(i - 1) + (look->level - before) / (after - before);
        }
    }
    passes->count++;
}

/* As period_find() counts crossings: from beyond the hysteresis to beyond it on the other side. */
static void find_passes(struct look *look, double hysteresis)
{
    const struct series *series = look->series;
    bool above = series_at(series, 0) >= look->level;
    int side = 0;
    size_t passed = 0;
    for (size_t i = 0; i < series->count; i++) {
        double distance = series_at(series, i) - look->level;
        if (above != (distance >= 0)) {
            above = !above;
            passed = i;
        }
        if (fabs(distance) <= hysteresis || side == (above ? 1 : -1))
            continue;
        if (side != 0)
            keep(look, passed, above ? &look->up : &look->down);
        side = above ? 1 : -1;
    }
}

static bool regular(const struct passes *passes, double period)
{
    for (size_t i = 1; i < passes->kept; i++) {
        double expected = (passes->number[i] - passes->number[i - 1]) * period;
        if (!(fabs(passes->instant[i] - passes->instant[i - 1] - expected) <=
              most_irregular * period))
            return false;
    }
    return true;
}

static bool is_steep(const struct passes *passes, double height)
{
    return passes->count > 1 && passes->steps >= steep * height * (double)passes->count;
}

/* How much room all pairs leave for the instant of the edge; negative where they leave none. */
static double room(const struct passes *passes, double period)
{
    double low = -INFINITY, high = INFINITY;
    for (size_t i = 0; i < passes->kept; i++) {
        low = fmax(low, passes->low[i] - passes->number[i] * period);
        high = fmin(high, passes->high[i] - passes->number[i] * period);
    }
    return high - low;
}

static double least_room(const struct look *look, double height, double period)
{
    double least = INFINITY;
    if (is_steep(&look->up, height))
        least = fmin(least, room(&look->up, period));
    if (is_steep(&look->down, height))
        least = fmin(least, room(&look->down, period));
    return least;
}

/* Where, from a period with so much room outwards, there is less. */
static double bound_of(const struct look *look, double height, double least, double inside,
                       double outside)
{
    for (int i = 0; i < SEARCH_STEPS / 2; i++) {
        double middle = (inside + outside) / 2;
        if (least_room(look, height, middle) >= least)
            inside = middle;
        else
            outside = middle;
    }
    return inside;
}

/*
 * The room is a concave function of the period: its top, and the middle of where there is any.
 * Edges that jitter by a little leave none; all pairs are then taken as wider by what lacks.
 */
static bool of_edges(const struct look *look, double height, double period, double reach,
                     struct rhythm *rhythm)
{
    double low = period - reach, high = period + reach;
    for (int i = 0; i < SEARCH_STEPS; i++) {
        double left = low + (high - low) / 3, right = high - (high - low) / 3;
        if (least_room(look, height, left) < least_room(look, height, right))
            low = left;
        else
            high = right;
    }
    double top = (low + high) / 2;
    double most = least_room(look, height, top);
    if (!(most >= -most_jitter))
        return false;
    low = bound_of(look, height, fmin(0, 2 * most), top, period - 2 * reach);
    high = bound_of(look, height, fmin(0, 2 * most), top, period + 2 * reach);
    *rhythm = (struct rhythm) { 2 / (low + high), 1 / high, 1 / low };
    return true;
}

static void add_line(const struct passes *passes, double *products, double *squares)
{
    double n = (double)passes->kept, number = 0, instant = 0;
    for (size_t i = 0; i < passes->kept; i++) {
        number += passes->number[i] / n;
        instant += passes->instant[i] / n;
    }
    for (size_t i = 0; i < passes->kept; i++) {
        double from_middle = passes->number[i] - number;
        *products += from_middle * (passes->instant[i] - instant);
        *squares += from_middle * from_middle;
    }
}

static struct rhythm of_lines(const struct look *look)
{
    double products = 0, squares = 0;
    add_line(&look->up, &products, &squares);
    add_line(&look->down, &products, &squares);
    double frequency = squares / products;
    return (struct rhythm) { frequency, frequency, frequency };
}

bool rhythm_find(const struct series *series, double minimum, double maximum, double noise,
                 double rough, struct rhythm *rhythm)
{
    double height = maximum - minimum;
    struct look look = { .series = series,
                         .level = minimum + height / 2,
                         .noise = noise,
                         .up.stride = 1,
                         .down.stride = 1 };
    find_passes(&look, period_hysteresis(height, noise));
    const struct passes *up = &look.up, *down = &look.down;
    size_t most = up->count > down->count ? up->count : down->count;
    if (most < 2 || !regular(up, 1 / rough) || !regular(down, 1 / rough))
        return false;
    if (is_steep(up, height) || is_steep(down, height))
        return of_edges(&look, height, 1 / rough, 2 / (double)(most - 1), rhythm);
    *rhythm = of_lines(&look);
    return rhythm->frequency > 0;
}
