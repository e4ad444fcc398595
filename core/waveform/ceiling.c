/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "ceiling.h"

#include <math.h>

/* A mean may be so many of its standard deviations below what it is of. */
static const double below = 2.0;

/* From so many on, what a mean is above those beside it is taken for the signal's. */
static const double differs = 2;

/* Samples in a mean at least, and as many as evenly fill so many of the widest gap between them. */
static const double fewest = 3, gaps = 2;

/* What changes evenly reaches 1.7 of its standard deviations up, a sine 1.4, a normal law 2 in 20. */
static const double reach = 2.0;

/* Of the chi-square's standard deviations: it may be so much less by chance; from so many it is none. */
static const double low_by_chance = 2.0, surely = 4.0;

/* The mean of at least `samples` of them from node i on, `*next` is the one behind. */
static double mean_from(const struct fold *fold, size_t i, double samples, size_t *next,
                        double *count)
{
    double sum = 0;
    size_t from = i;
    *count = 0;
    do {
        sum += fold->nodes[i].value * fold->nodes[i].count;
        *count += fold->nodes[i].count;
        i = (i + 1) % fold->count;
    } while (*count < samples && i != from);
    *next = i;
    return sum / *count;
}

/* The mean of at least `samples` of them before node i. */
static double mean_before(const struct fold *fold, size_t i, double samples)
{
    double sum = 0, count = 0;
    for (size_t n = 0; count < samples && n < fold->count; n++) {
        i = (i + fold->count - 1) % fold->count;
        sum += fold->nodes[i].value * fold->nodes[i].count;
        count += fold->nodes[i].count;
    }
    return sum / count;
}

/* By the means of so many neighbours. */
static double ceiling_at(const struct fold *fold, double sign, double samples, double noise)
{
    double highest = -INFINITY;
    for (size_t i = 0; i < fold->count; i++) {
        size_t next, last;
        double count, after_count;
        double here = sign * mean_from(fold, i, samples, &next, &count);
        double after = sign * mean_from(fold, next, samples, &last, &after_count);
        double before = sign * mean_before(fold, i, samples);
        double scatter = noise / sqrt(count);
        double above = here - fmax(before, after);
        double reached = here + (above > differs * scatter ? above : 0) + below * scatter;
        highest = fmax(highest, reached);
    }
    return highest;
}

/* Between neighbours, in periods. */
static double widest_gap(const struct fold *fold)
{
    const struct fold_node *nodes = fold->nodes;
    double widest = nodes[0].place + 1 - nodes[fold->count - 1].place;
    for (size_t i = 1; i < fold->count; i++)
        widest = fmax(widest, nodes[i].place - nodes[i - 1].place);
    return widest;
}

double ceiling_of_fold(const struct fold *fold, double sign, double frequency, double samples,
                       double noise)
{
    if (frequency * FOLD_NODES < 1)
        return sign * INFINITY;
    double most = fmax(fewest, floor(frequency * samples));
    double least = fmax(fewest, gaps * widest_gap(fold) * samples);
    double lowest = ceiling_at(fold, sign, most, noise);
    double each = most / 2;
    while (each >= least) {
        lowest = fmin(lowest, ceiling_at(fold, sign, each, noise));
        each /= 2;
    }
    return sign * lowest;
}

/* Of the periods' means in a stretch, without what one period has left over so far. */
struct periods {
    double chi_square, count, samples;
    double sum, in_sum, number;
};

static void close_period(struct periods *seen)
{
    if (seen->in_sum > 0) {
        seen->chi_square += seen->sum * seen->sum / seen->in_sum;
        seen->samples += seen->in_sum;
        seen->count++;
    }
    seen->sum = seen->in_sum = 0;
}

struct wander wander_of(const struct series *series, double frequency, double noise,
                        const struct crest *crest)
{
    struct periods seen = { 0 };
    for (size_t i = 0; i < series->count; i++) {
        double turns = frequency * (double)i - crest->first;
        double number = floor(turns);
        if (number != seen.number)
            close_period(&seen);
        seen.number = number;
        double place = crest->first + turns - number;
        if (place > crest->last)
            continue;
        seen.sum += series_value(series, series_at(series, i)) - crest_shape(crest, place);
        seen.in_sum++;
    }
    close_period(&seen);
    double variance = noise * noise;
    double over = seen.chi_square / variance - seen.count;
    double by_chance = sqrt(2 * seen.count);
    double most = fmax(0, over) + low_by_chance * by_chance;
    return (struct wander) { .most = reach * noise * sqrt(most / fmax(1, seen.samples)),
                             .certain = over > surely * by_chance };
}
