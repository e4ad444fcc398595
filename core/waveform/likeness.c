/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "likeness.h"

#include <math.h>
#include <stdlib.h>

enum { PLACES = 1023 };

/* Median of |x| of the standard normal distribution. */
static const double normal_median = 0.6745;

/* What differs by more than this many standard deviations of its mean square is no noise. */
static const double surely = 5.0;

/* The period may be wrong by so many of its standard uncertainties. */
static const double of_period = 3.0;

/* Where a place comes again: after so many whole samples, and a part of one. */
struct shift {
    size_t whole;
    double part;
    double doubt; /* samples */
};

static double difference(const struct series *series, size_t i, const struct shift *shift)
{
    double before = series_at(series, i + shift->whole);
    double after = series_at(series, i + shift->whole + 1);
    return series->scale * (before + shift->part * (after - before) - series_at(series, i));
}

static double bend(const struct series *series, size_t i)
{
    double sides = series_at(series, i - 1) + series_at(series, i + 1);
    return fabs(series->scale * (sides - 2 * series_at(series, i)));
}

/* The most that a difference may be though the signal is the same: a line's error, a slope's, at an edge all of it. */
static double allowed(const struct series *series, size_t i, const struct shift *shift)
{
    size_t there = i + shift->whole;
    double bends = fmax(bend(series, i), fmax(bend(series, there), bend(series, there + 1)));
    double slope = series->scale * (series_at(series, there + 1) - series_at(series, there));
    return bends + fabs(slope) * shift->doubt;
}

static int compare(const void *a, const void *b)
{
    double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

/* A difference's standard deviation by noise of one sample: two samples, of which a line averages one. */
static double of_difference(const struct shift *shift)
{
    double part = shift->part;
    return sqrt(1 + part * part + (1 - part) * (1 - part));
}

/* As above of a difference's second difference; the line's two samples overlap in its neighbours. */
static double of_second_difference(const struct shift *shift)
{
    double f = shift->part, g = 1 - f;
    return sqrt(6 + g * g + (f - 2 * g) * (f - 2 * g) + (g - 2 * f) * (g - 2 * f) + f * f);
}

struct likeness likeness_of(const struct series *series, const struct waveform *waveform,
                            double noise, double step)
{
    struct likeness likeness = { 0, INFINITY };
    double bends[PLACES];
    double period = 1 / (waveform->frequency * series->interval);
    double room = (double)series->count - 4 - period;
    if (!(waveform->periods > 0 && room >= period / 4))
        return likeness;
    struct shift shift = { (size_t)period, period - floor(period),
                           of_period * period * waveform->frequency_uncertainty /
                               waveform->frequency };
    double squares = 0;
    for (size_t n = 0; n < PLACES; n++) {
        size_t i = 1 + (size_t)(room * (double)n / PLACES);
        double here = difference(series, i, &shift);
        bends[n] =
            fabs(difference(series, i - 1, &shift) - 2 * here + difference(series, i + 1, &shift));
        double excess = fmax(0, fabs(here) - allowed(series, i, &shift));
        squares += excess * excess / PLACES;
    }
    qsort(bends, PLACES, sizeof *bends, compare);
    likeness.noise =
        fmax(bends[PLACES / 2] / normal_median / of_second_difference(&shift), step / sqrt(12));
    double of_one = of_difference(&shift);
    double most = fmin(likeness.noise, noise) * of_one;
    double places = fmin(PLACES, room);
    if (squares > most * most * (1 + surely * sqrt(2 / places)))
        likeness.unlike = sqrt((squares - most * most) / 2);
    return likeness;
}
