/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "steadiness.h"

#include "likeness.h"
#include "period.h"

#include <math.h>

enum { MOST_PARTS = 64, FEWEST_PARTS = 2, EVEN_PARTS = 32, FEWEST_SAMPLES = 8, SLOW = 6 };

/* Periods that are not alike say nothing of others where there are fewer of them. */
static const double few_periods = 4;

/* What scatters more than this, in what noise and bends explain, is the signal's doing. */
static const double surely = 3.0;

/*
 * An edge between two samples is off by half an interval at most, and the same each time where it is
 * so off; from period to period no more than half of that scatters (own derivation).
 */
static const double surely_of_edges = 0.6;

/* Where the autocorrelation has come to zero so often in the record, the signal went to and fro twice. */
static const double settled_lengths = 8.0;

/*
 * Straight lines between n samples a period leave an area of swing (2 pi / n)^2 / 24 at either end
 * of a part of a sine, and of its square up to three times as much (own derivation).
 */
static const double bend_of_sine = 10.0;

/* What is not the same a period later by more than this share of the swing is another signal besides. */
static const double alike_swing = 0.002;

/*
 * Half waves over the whole record, SLOW of them: what noise, in squares of its deviation, brings
 * into them once in 10,000 records is chi-square's quantile, for 1 to 6 degrees of freedom a line (from memory).
 */
static const double slow_first = 15.1;
static const double slow_next = 2.6;

/* Where so much of what changes is so slow, the record has not seen its average. */
static const double slow_share = 0.3;

/* Such a change of less than this share of a step is in the interval, twice over, and needs no word. */
static const double slow_steps = 0.5;

/* A level that changes by less than this share of an ac value is little in it: half the square, 1 %. */
static const double little_level = 0.15;

/* The record in parts; times in samples. */
struct parts {
    size_t count;
    double begin;
    double end;
    double length;
    double periods; /* in each; 0: not cut by periods */
    double averages[MOST_PARTS];
};

static bool cut(const struct series *series, const struct waveform *waveform, struct parts *parts)
{
    double scale = series->scale;
    if (waveform->periods == 0) {
        parts->count = EVEN_PARTS;
        parts->begin = parts->periods = 0;
        parts->end = (double)(series->count - 1);
        parts->length = parts->end / EVEN_PARTS;
        return parts->length >= FEWEST_SAMPLES;
    }
    struct stretch stretch =
        period_find(series, (waveform->minimum - series->offset) / scale,
                    (waveform->maximum - series->offset) / scale, waveform->noise / scale);
    if (!(stretch.periods >= FEWEST_PARTS))
        return false;
    parts->periods = ceil(stretch.periods / MOST_PARTS);
    parts->count = (size_t)(stretch.periods / parts->periods);
    parts->begin = stretch.begin;
    parts->end = stretch.end;
    parts->length = (stretch.end - stretch.begin) / stretch.periods * parts->periods;
    return true;
}

/* What the aspect averages, over one part: the value, or its square about where it is taken from. */
static double average_of(const struct series *series, const struct stretch *part,
                         const struct waveform *waveform, enum aspect aspect)
{
    double mean = (waveform->mean - series->offset) / series->scale;
    struct averages seen = period_average(series, part, mean);
    double about = aspect == ASPECT_AC ? mean : -series->offset / series->scale;
    double value = waveform_aspect(waveform, aspect);
    if (aspect == ASPECT_DC)
        return series->scale * (seen.mean - mean);
    if (!(value > 0))
        return 0;
    double square = seen.mean_square + (seen.mean - about) * (seen.mean - about);
    return series->scale * series->scale * square / (2 * value);
}

static void average(const struct series *series, const struct waveform *waveform,
                    enum aspect aspect, struct parts *parts)
{
    double sum = 0;
    for (size_t i = 0; i < parts->count; i++) {
        double begin = parts->begin + (double)i * parts->length;
        struct stretch part = { begin, fmin(begin + parts->length, parts->end), 1 };
        parts->averages[i] = average_of(series, &part, waveform, aspect);
        sum += parts->averages[i];
    }
    for (size_t i = 0; i < parts->count; i++)
        parts->averages[i] -= sum / (double)parts->count;
}

static double covariance(const struct parts *parts, size_t lag)
{
    double sum = 0;
    for (size_t i = 0; i + lag < parts->count; i++)
        sum += parts->averages[i] * parts->averages[i + lag];
    return sum / (double)(parts->count - 1);
}

/* By how much the variance of the mean is larger than that of independent parts. */
static double inflation(const struct parts *parts, double variance)
{
    double sum = 0;
    for (size_t lag = 0; lag + 1 < parts->count; lag += 2) {
        double pair = covariance(parts, lag) + covariance(parts, lag + 1);
        if (!(pair > 0))
            break;
        sum += pair / variance;
    }
    return fmax(2 * sum - 1, 1 / (double)parts->count);
}

/* The first lag at which neighbours have nothing in common any more. */
static size_t correlated(const struct parts *parts)
{
    size_t lag = 1;
    while (lag + 1 < parts->count && covariance(parts, lag) > 0)
        lag++;
    return lag;
}

/* What noise, and what sampling, may make the averages of the parts scatter by. */
struct explained {
    double noise;
    double bend;  /* the same at the end of one part and the beginning of the next */
    double edges; /* may come and go slowly, as samples and edges beat */
};

static struct explained explain(const struct waveform *waveform, enum aspect aspect,
                                const struct parts *parts, double noise, double edges)
{
    double value = waveform_aspect(waveform, aspect);
    double square = aspect == ASPECT_DC || !(value > 0) ? 1 : 1 + noise / value;
    struct explained explained = { noise * square / sqrt(parts->length), 0,
                                   surely_of_edges * edges };
    if (parts->periods > 0) {
        double each = parts->length / parts->periods;
        explained.bend = waveform->peak_to_peak * bend_of_sine / (each * each * parts->length);
    }
    return explained;
}

/*
 * Variance of what changes so slowly that the record does not hold SLOW half waves of it: the parts'
 * first cosines (discrete cosine transform, second kind). 0 where noise and sampling explain it. Where a
 * part is too high by what the next is too low the cosines see little of it.
 */
static double slow_variance(const struct parts *parts, const struct explained *explained)
{
    double count = (double)parts->count, variance = 0, most = fmin(SLOW, count - 1);
    for (int k = 1; k <= (int)most; k++) {
        double sum = 0;
        for (size_t i = 0; i < parts->count; i++)
            sum += parts->averages[i] * cos(M_PI * k * ((double)i + 0.5) / count);
        variance += 2 * sum * sum / (count * count);
    }
    double chance =
        explained->noise * explained->noise * (slow_first + slow_next * (most - 1)) / count;
    double bend = explained->bend * fmin(1, SLOW / count);
    return variance > chance + bend * bend + explained->edges * explained->edges ? variance : 0;
}

static struct steadiness compare_parts(const struct series *series, const struct waveform *waveform,
                                       enum aspect aspect, double noise, double edges, double step)
{
    struct parts parts;
    struct steadiness steadiness = { 0, false };
    if (!cut(series, waveform, &parts))
        return steadiness;
    average(series, waveform, aspect, &parts);
    struct explained explained = explain(waveform, aspect, &parts, noise, edges);
    double variance = covariance(&parts, 0), count = (double)parts.count;
    double slow = slow_variance(&parts, &explained);
    double changes = variance - explained.noise * explained.noise;
    double chance = hypot(surely * hypot(explained.noise, explained.bend), explained.edges);
    bool surely_slow = sqrt(slow) > slow_steps * step;
    steadiness.scatter = 2 * sqrt(slow);
    if (sqrt(variance) > chance + step / 2) {
        steadiness.passing = count < settled_lengths * (double)correlated(&parts);
        steadiness.scatter = sqrt(variance / count * inflation(&parts, variance));
    }
    steadiness.passing |= surely_slow && slow > slow_share * changes;
    if (steadiness.passing)
        steadiness.scatter = sqrt(variance);
    return steadiness;
}

/*
 * What periods that are not alike do at the two instants that end the stretch: something of that RMS r
 * moves the crossing of a sine of amplitude A by r / (2 pi A) periods, and what is averaged there lies
 * as far from its mean as that is from zero (own derivation).
 */
static struct steadiness ends_of(const struct waveform *waveform, double unlike)
{
    static const double share = 0.1125; /* sqrt(2) / (4 pi) */
    struct steadiness steadiness = { 0, false };
    if (unlike > 0) {
        steadiness.scatter = share * unlike / waveform->periods;
        steadiness.passing =
            unlike > alike_swing * waveform->peak_to_peak && waveform->periods < few_periods;
    }
    return steadiness;
}

struct steadiness steadiness_of(const struct series *series, const struct waveform *waveform,
                                enum aspect aspect, double noise, double edges, double step)
{
    struct likeness likeness = likeness_of(series, waveform, noise, step);
    struct steadiness ends = ends_of(waveform, likeness.unlike);
    noise = fmin(noise, likeness.noise);
    struct steadiness seen = compare_parts(series, waveform, aspect, noise, edges, step);
    seen.scatter = hypot(seen.scatter, ends.scatter);
    seen.passing |= ends.passing;
    if (aspect != ASPECT_AC || !(waveform->ac_rms > 0))
        return seen;
    struct steadiness level = compare_parts(series, waveform, ASPECT_DC, noise, edges, step);
    if (level.passing) {
        seen.scatter = hypot(seen.scatter, level.scatter * level.scatter / waveform->ac_rms);
        seen.passing |= level.scatter > little_level * waveform->ac_rms;
    }
    return seen;
}
