/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "steadiness.h"

#include "period.h"

#include <math.h>
#include <stdlib.h>

enum { MOST_PARTS = 64, FEWEST_PARTS = 2, EVEN_PARTS = 32, FEWEST_SAMPLES = 8, PLACES = 255 };

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

/* A period later a periodic signal is the same to so much of its swing, and of its noise. */
static const double alike_swing = 0.02;
static const double alike_noise = 2.0;

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
    parts->count = (size_t)fmin(MOST_PARTS, stretch.periods);
    parts->periods = floor(stretch.periods / (double)parts->count);
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

/* What noise and sampling may make the averages of the parts scatter by. */
static double explained(const struct waveform *waveform, enum aspect aspect,
                        const struct parts *parts, double noise, double edges)
{
    double value = waveform_aspect(waveform, aspect);
    double square = aspect == ASPECT_DC || !(value > 0) ? 1 : 1 + noise / value;
    double bend = 0;
    if (parts->periods > 0) {
        double each = parts->length / parts->periods;
        bend = waveform->peak_to_peak * bend_of_sine / (each * each * parts->length);
    }
    return hypot(surely * hypot(noise * square / sqrt(parts->length), bend),
                 surely_of_edges * edges);
}

static int compare(const void *a, const void *b)
{
    double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

/*
 * RMS of what is not the same again a period later, as the median of evenly spread places has it,
 * which edges that fall between samples do not move. 0: as good as nothing, or the record does
 * not last for another quarter of a period.
 */
static double unlike(const struct series *series, const struct waveform *waveform, double noise)
{
    static const double normal_median = 0.6745;
    double differences[PLACES];
    double period = 1 / (waveform->frequency * series->interval);
    double room = (double)(series->count - 2) - period;
    if (!(room >= period / 4))
        return 0;
    for (size_t i = 0; i < PLACES; i++) {
        size_t here = (size_t)(room * (double)i / PLACES);
        double later = (double)here + period;
        size_t before = (size_t)later;
        double first = series_at(series, before), second = series_at(series, before + 1);
        double there = first + (later - (double)before) * (second - first);
        differences[i] = series->scale * fabs(there - series_at(series, here));
    }
    qsort(differences, PLACES, sizeof *differences, compare);
    double rms = differences[PLACES / 2] / normal_median / sqrt(2);
    return rms > alike_noise * noise + alike_swing * waveform->peak_to_peak ? rms : 0;
}

/*
 * What periods that are not alike do at the two instants that end the stretch: something of that RMS r
 * moves the crossing of a sine of amplitude A by r / (2 pi A) periods, and what is averaged there lies
 * as far from its mean as that is from zero (own derivation).
 */
static struct steadiness ends_of(const struct series *series, const struct waveform *waveform,
                                 double noise)
{
    static const double share = 0.1125; /* sqrt(2) / (4 pi) */
    struct steadiness steadiness = { 0, false };
    if (waveform->periods > 0) {
        double rms = unlike(series, waveform, noise);
        steadiness.scatter = share * rms / waveform->periods;
        steadiness.passing = rms > 0 && waveform->periods < few_periods;
    }
    return steadiness;
}

static struct steadiness compare_parts(const struct series *series, const struct waveform *waveform,
                                       enum aspect aspect, double noise, double edges, double step)
{
    struct parts parts;
    struct steadiness steadiness = { 0, false };
    if (!cut(series, waveform, &parts))
        return steadiness;
    average(series, waveform, aspect, &parts);
    double variance = covariance(&parts, 0);
    double from_part_to_part = sqrt(variance);
    if (!(from_part_to_part > explained(waveform, aspect, &parts, noise, edges) + step / 2))
        return steadiness;
    double count = (double)parts.count;
    steadiness.passing = count < settled_lengths * (double)correlated(&parts);
    steadiness.scatter = steadiness.passing ? from_part_to_part
                                            : sqrt(variance / count * inflation(&parts, variance));
    return steadiness;
}

struct steadiness steadiness_of(const struct series *series, const struct waveform *waveform,
                                enum aspect aspect, double noise, double edges, double step)
{
    struct steadiness seen = compare_parts(series, waveform, aspect, noise, edges, step);
    struct steadiness ends = ends_of(series, waveform, noise);
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
