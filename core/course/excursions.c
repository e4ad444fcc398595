/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "excursions.h"

#include "noise.h"

#include <math.h>
#include <stdbool.h>

/* A level is the median of so many values; of so few at the end nothing can be told. */
enum { NEIGHBOURS = 11, END = 8 };

/* So many standard deviations a value stands out. */
static const double sigmas = 6;

/* Shares of an excursion's height: of it each end is at once, and so near the level it comes back. */
static const double at_once = 0.5, near = 0.3;

/* The latest values that belong to no excursion. */
struct level {
    double value[NEIGHBOURS];
    size_t count;
};

struct walk {
    const double *time, *value;
    size_t count;
    double reach; /* how far a value stands out */
    double *times, *values;
    size_t kept;
    struct level level;
};

static void put(struct level *level, double value)
{
    level->value[level->count++ % NEIGHBOURS] = value;
}

static double median(const double *value, size_t count)
{
    double sorted[NEIGHBOURS];
    for (size_t n = 0; n < count; n++) {
        size_t i = n;
        for (; i > 0 && sorted[i - 1] > value[n]; i--)
            sorted[i] = sorted[i - 1];
        sorted[i] = value[n];
    }
    return sorted[count / 2];
}

static double level_of(const struct level *level)
{
    return median(level->value, level->count < NEIGHBOURS ? level->count : NEIGHBOURS);
}

/*
 * How far a value must stand out. The fewer values, the worse the noise is
 * known: its estimate scatters by about 1.2 / sqrt(count) of itself (median
 * of normal magnitudes; from memory), and a low one must not make excursions
 * of noise. `distances` has room for count.
 */
static double reach_of(const double *value, size_t count, double noise, double *distances)
{
    for (size_t i = NEIGHBOURS; i < count; i++)
        distances[i - NEIGHBOURS] = value[i] - median(value + i - NEIGHBOURS, NEIGHBOURS);
    double spread = noise_of_magnitudes(distances, count - NEIGHBOURS);
    return sigmas * (1 + 2.5 / sqrt((double)count)) * fmax(noise, spread);
}

static void keep(struct walk *walk, size_t at)
{
    walk->times[walk->kept] = walk->time[at];
    walk->values[walk->kept++] = walk->value[at];
    put(&walk->level, walk->value[at]);
}

/* Whether most of the next few values, from `at` on, are within `band` of a level. */
static bool is_back(const struct walk *walk, size_t at, double level, double band)
{
    enum { FEW = 5 };
    size_t n = walk->count - at < FEW ? walk->count - at : FEW, within = 0;
    for (size_t i = at; i < at + n; i++)
        within += fabs(walk->value[i] - level) <= band;
    return fabs(walk->value[at] - level) <= band && 2 * within > n;
}

/* The farthest of values from a level, with its sign. */
static double farthest(const double *value, size_t count, double level)
{
    double far = 0;
    for (size_t i = 0; i < count; i++)
        far = fabs(value[i] - level) > fabs(far) ? value[i] - level : far;
    return far;
}

/*
 * Where an excursion that begins at `at` is over; 0: it is none. Its height is that of
 * what it began with: what went farther later may have been an excursion of its own.
 */
static size_t end_of(const struct walk *walk, size_t at, double level)
{
    const double *value = walk->value;
    double height = fabs(value[at] - level), band = fmax(walk->reach, near * height);
    size_t last = walk->count - at > EXCURSION_LONGEST ? at + EXCURSION_LONGEST : walk->count - 1;
    if (fabs(value[at] - value[at - 1]) < at_once * height)
        return 0;
    for (size_t end = at + 1; end <= last; end++)
        if (is_back(walk, end, level, band))
            return fabs(value[end] - value[end - 1]) >= at_once * height ? end : 0;
    return 0;
}

static void note(struct excursions *excursions, size_t at, size_t end, double height)
{
    size_t length = end - at;
    if (excursions->count++ == 0)
        excursions->first = at;
    excursions->last = end - 1;
    excursions->longest = length > excursions->longest ? length : excursions->longest;
    if (fabs(height) > fabs(excursions->largest))
        excursions->largest = height;
}

/* Values from `at` on have left for good, as far as is known: a level of its own begins. */
static size_t leave(struct walk *walk, size_t at)
{
    if (walk->count - at < END && walk->kept >= NEIGHBOURS)
        return walk->count;
    walk->level.count = 0;
    keep(walk, at);
    return at + 1;
}

size_t excursions_set_aside(const double *time, const double *value, size_t count, double noise,
                            double *scratch, struct excursions *excursions)
{
    struct walk walk = { .time = time, .value = value, .count = count, .times = scratch };
    walk.values = scratch + count;
    walk.reach = reach_of(value, count, noise, scratch);
    *excursions = (struct excursions) { 0 };
    keep(&walk, 0);
    for (size_t at = 1; at < count;) {
        double level = level_of(&walk.level);
        if (!(fabs(value[at] - level) > walk.reach)) {
            keep(&walk, at++);
            continue;
        }
        size_t end = end_of(&walk, at, level);
        if (end == 0) {
            at = leave(&walk, at);
            continue;
        }
        note(excursions, at, end, farthest(value + at, end - at, level));
        at = end;
    }
    return walk.kept;
}
