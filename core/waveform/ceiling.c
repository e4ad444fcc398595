/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "ceiling.h"

#include <math.h>
#include <stdbool.h>
#include <stddef.h>
#include <string.h>

/*
 * A mean may be so many of its standard deviations below what it is of: the highest of many
 * everywhere, of the few beside an edge.
 */
static const double below = 1.3, below_beside = 2.0;

/* From so many on, what a mean is above those beside it is taken for the signal's. */
static const double differs = 3.0;

/* So many samples beside an edge, and so few in a mean there. */
static const double beside = 2.0, fewest_beside = 2;

/* Samples in a mean at least, and as many as evenly fill so many of the widest gap between them. */
static const double fewest = 3, gaps = 2;

/* What changes evenly reaches 1.7 of its standard deviations up, a sine 1.4, a normal law 2 in 20. */
static const double reach = 2.0;

/* Of the chi-square's standard deviations: it may be so much less by chance; from so many it is none. */
static const double low_by_chance = 2.0, surely = 4.0;

/* So many samples of neighbouring nodes, and what the crest's shape has there. */
struct stretch_of_nodes {
    size_t next; /* the node behind */
    double count, mean;
    bool shaped;  /* all of it is in the crest's stretch, so that */
    double off;   /* its mean is off the shape by this */
    double above; /* and the top of the shape is so much above the shape's mean there */
};

/* A fold with what the crest's shape has at its nodes; upwards is the crest's way. */
struct shaped {
    const struct fold *fold;
    const struct crest *crest;
    double
        places[FOLD_NODES]; /* as the crest's stretch has them, in which they may be one turn on */
    double shape[FOLD_NODES];
};

static void lay(const struct fold *fold, const struct crest *crest, struct shaped *shaped)
{
    shaped->fold = fold;
    shaped->crest = crest;
    for (size_t i = 0; i < fold->count; i++) {
        double place = fold->nodes[i].place;
        shaped->places[i] = place + ceil(crest->first - place);
        shaped->shape[i] = crest->sign * crest_shape(crest, shaped->places[i]);
    }
}

/* At least `samples` of them from node i on, or backwards. */
static struct stretch_of_nodes take(const struct shaped *shaped, size_t i, double samples,
                                    bool backwards)
{
    const struct fold *fold = shaped->fold;
    struct stretch_of_nodes taken = { 0 };
    double sum = 0, shape = 0, low = INFINITY, high = -INFINITY;
    for (size_t n = 0; n == 0 || (taken.count < samples && n < fold->count); n++) {
        double count = fold->nodes[i].count, place = shaped->places[i];
        low = place < low ? place : low;
        high = place > high ? place : high;
        taken.count += count;
        sum += fold->nodes[i].value * count;
        shape += shaped->shape[i] * count;
        if (backwards)
            i = i > 0 ? i - 1 : fold->count - 1;
        else
            i = i + 1 < fold->count ? i + 1 : 0;
    }
    taken.next = i;
    taken.mean = shaped->crest->sign * sum / taken.count;
    taken.shaped = high <= shaped->crest->last;
    if (taken.shaped) {
        taken.off = taken.mean - shape / taken.count;
        taken.above =
            shaped->crest->sign * crest_top(shaped->crest, low, high) - shape / taken.count;
    }
    return taken;
}

/*
 * How much higher than its mean a stretch may be, for its shape and for what it is above those beside it:
 * a cusp's mean is lower than its tip by as much as that of its neighbours is lower still.
 */
static double higher(const struct stretch_of_nodes *here, const struct stretch_of_nodes *before,
                     const struct stretch_of_nodes *after, double scatter)
{
    double top = here->mean - fmax(before->mean, after->mean);
    if (here->shaped)
        top = here->off - fmax(before->shaped ? before->off : 0, after->shaped ? after->off : 0);
    return here->above + fmax(0, fmin(top, 2 * (top - differs * scatter)));
}

/* Places about steep edges: there a feature may be half a sample wide. */
struct places {
    bool near[FOLD_NODES];
};

/* Those within two samples of an edge. */
static void find_edges(const struct fold *fold, double frequency, struct places *places)
{
    memset(places, 0, sizeof *places);
    for (size_t i = 0; i < fold->count; i++) {
        if (!(fold_edge(fold, i) > 0) && !fold_astride(fold, i))
            continue;
        for (size_t j = 0; j < fold->count; j++) {
            double away = fabs(fold->nodes[j].place - fold->nodes[i].place);
            places->near[j] |= fmin(away, 1 - away) <= beside * frequency;
        }
    }
}

/* By the means of so many neighbours, or of those only that begin at some places. */
static double ceiling_at(const struct shaped *shaped, double samples, double noise,
                         const struct places *places)
{
    size_t count = shaped->fold->count;
    double highest = -INFINITY, sigmas = places ? below_beside : below;
    for (size_t i = 0; i < count; i++) {
        if (places && !places->near[i])
            continue;
        struct stretch_of_nodes here = take(shaped, i, samples, false);
        struct stretch_of_nodes after = take(shaped, here.next, samples, false);
        struct stretch_of_nodes before = take(shaped, (i + count - 1) % count, samples, true);
        double scatter = noise / sqrt(here.count);
        double top = here.mean + higher(&here, &before, &after, scatter);
        highest = fmax(highest, top + sigmas * scatter);
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

double ceiling_of_fold(const struct fold *fold, const struct crest *crest, double frequency,
                       double samples, double noise)
{
    if (frequency * FOLD_NODES < 1)
        return crest->sign * INFINITY;
    struct shaped shaped;
    struct places places;
    lay(fold, crest, &shaped);
    find_edges(fold, frequency, &places);
    double most = fmax(fewest, floor(frequency * samples));
    double least = fmax(fewest, gaps * widest_gap(fold) * samples);
    double lowest = ceiling_at(&shaped, most, noise, NULL);
    double each = most / 2;
    while (each >= least) {
        lowest = fmin(lowest, ceiling_at(&shaped, each, noise, NULL));
        each /= 2;
    }
    double few = fmax(fewest_beside, floor(most / 2));
    return crest->sign * fmax(lowest, ceiling_at(&shaped, few, noise, &places));
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
