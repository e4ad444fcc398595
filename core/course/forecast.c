/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "forecast.h"

#include <math.h>

const double forecast_reach = 20;

/* Outside of the interval, each side. */
static const double outside = 0.025;

/* A date is stated when the courses that meet the level at all are so probable. */
static const double certain = 0.99;

enum { HALVINGS = 50 };

/*
 * Student's t as the normal figure with nearly the same probability
 * (Abramowitz and Stegun, Handbook of Mathematical Functions, 1964, 26.7.8;
 * from memory); good to 1e-3 from 8 degrees of freedom on.
 */
static double probability_below(double t, double freedom)
{
    double z = t * (1 - 1 / (4 * freedom)) / sqrt(1 + t * t / (2 * freedom));
    return erfc(-z / M_SQRT2) / 2;
}

/* Probability that the course is beyond a level at a time. */
static double beyond(const struct contest *contest, double level, bool above, double time)
{
    double sum = 0;
    for (size_t i = 0; i < contest->count; i++) {
        const struct contestant *each = &contest->list[i];
        double standard, value = contestant_value(contest, each, time, &standard);
        double off = above ? value - level : level - value;
        if (standard > 0)
            sum += each->weight * probability_below(off / standard, each->freedom);
        else
            sum += off > 0 ? each->weight : 0;
    }
    return sum;
}

/* The time from which on the probability is more than `share`; it is at `to`, and is not at `from`. */
static double time_of(const struct contest *contest, double level, bool above, double share,
                      double from, double to)
{
    for (int i = 0; i < HALVINGS; i++) {
        double middle = from + (to - from) / 2;
        if (beyond(contest, level, above, middle) > share)
            to = middle;
        else
            from = middle;
    }
    return to;
}

/* An interval that ends later than so many spans of what was seen says nothing. */
static const double farthest = 4;

/* Between points (x, y) of ascending x; level beyond the ends. */
struct point {
    double x, y;
};

static double between(const struct point *points, size_t count, double x)
{
    size_t i = 1;
    while (i + 1 < count && points[i].x < x)
        i++;
    double share = (x - points[i - 1].x) / (points[i].x - points[i - 1].x);
    return points[i - 1].y + fmin(1, fmax(0, share)) * (points[i].y - points[i - 1].y);
}

/* The weight of backgrounds that wander without an end, or may as well. */
static double wandering(const struct contest *contest)
{
    return contest->backgrounds[BACKGROUND_WALK] + contest->backgrounds[BACKGROUND_AUTOREGRESSIVE];
}

/*
 * By how much the mixture's interval is stretched about its middle, over the weight of backgrounds
 * that wander. In so few readings slow wandering cannot be told from white noise: it takes the
 * shape of a drift, and what is left looks quiet. Where it has hardly more weight than it gets among white
 * noise (up to a quarter) the interval is that of its possibility, not of its weight; where
 * it is certain the mixture knows how fast it is. Courses that bend, and 1/f noise, add to it. What is
 * stretched by these figures holds the truth in 90 to 98 % on each background of
 * tests/core/course/test_backgrounds.c, from which they were chosen (calibration by simulation; own choice).
 */
static double stretch(const struct contest *contest)
{
    static const struct point wanders[] = { { 0.15, 0.3 }, { 0.2, 1.2 },  { 0.24, 2 },
                                            { 0.32, 2.4 }, { 0.4, 2.35 }, { 0.55, 2 },
                                            { 0.75, 1.5 }, { 1, 1.15 } };
    static const double flickering = 0.15, bending = 0.75;
    const double *course = contest->courses;
    return between(wanders, sizeof wanders / sizeof *wanders, wandering(contest)) +
           flickering * contest->backgrounds[BACKGROUND_FLICKER] +
           bending * (course[SHAPE_SETTLING] + course[SHAPE_SETTLING_LINE]);
}

/* The same of where settling ends. */
static double stretch_level(const struct contest *contest)
{
    static const struct point wanders[] = { { 0.18, 1 }, { 0.22, 3 }, { 0.3, 3 }, { 0.45, 1 } };
    return between(wanders, sizeof wanders / sizeof *wanders, wandering(contest));
}

bool forecast_meets(const struct contest *contest, double level, bool above, double now,
                    struct forecast_crossing *crossing)
{
    double last = now + forecast_reach * contest->places.span;
    if (!(beyond(contest, level, above, last) > certain) ||
        !(beyond(contest, level, above, now) <= 0.5))
        return false;
    double expected = time_of(contest, level, above, 0.5, now, last);
    double earliest = now;
    if (beyond(contest, level, above, now) <= outside)
        earliest = time_of(contest, level, above, outside, now, expected);
    double latest = time_of(contest, level, above, 1 - outside, expected, last);
    double by = stretch(contest);
    if (!(expected + by * (latest - expected) <= now + farthest * contest->places.span))
        return false;
    *crossing = (struct forecast_crossing) { fmax(now, expected - by * (expected - earliest)),
                                             expected, expected + by * (latest - expected) };
    return true;
}

/* Probability that a course that ends anywhere ends below a level; a line does not. */
static double ends_below(const struct contest *contest, double level)
{
    double sum = 0, whole = 0;
    for (size_t i = 0; i < contest->count; i++) {
        const struct contestant *each = &contest->list[i];
        double standard, value = 0;
        if (each->shape.course == SHAPE_LINE || each->shape.course == SHAPE_SETTLING_LINE)
            continue;
        value = contestant_value(contest, each, INFINITY, &standard);
        whole += each->weight;
        sum += each->weight * (standard > 0
                                   ? probability_below((level - value) / standard, each->freedom)
                                   : (level > value));
    }
    return whole > 0 ? sum / whole : NAN;
}

static double level_of(const struct contest *contest, double share, double low, double high)
{
    for (int i = 0; i < HALVINGS; i++) {
        double middle = low + (high - low) / 2;
        if (ends_below(contest, middle) > share)
            high = middle;
        else
            low = middle;
    }
    return low + (high - low) / 2;
}

bool forecast_settles(const struct contest *contest, struct forecast_level *level)
{
    /* Settling that goes on for more than many times what was seen is as good as none. */
    double far = 100 * contest->places.unit, middle = contest->places.level;
    double low = middle - far, high = middle + far;
    if (!(ends_below(contest, high) > 1 - outside) || !(ends_below(contest, low) < outside))
        return false;
    double expected = level_of(contest, 0.5, low, high), by = stretch_level(contest);
    double below = expected - level_of(contest, outside, low, high);
    double above = level_of(contest, 1 - outside, low, high) - expected;
    *level = (struct forecast_level) { expected - by * below, expected, expected + by * above };
    return true;
}
