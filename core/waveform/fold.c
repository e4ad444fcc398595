/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "fold.h"

#include <math.h>
#include <string.h>

enum { FEWEST_NODES = 16, FEWEST_FREEDOM = 16, HALVINGS = 50, MOST_SPLIT = 3 };

/* A step between two nodes that is more than this, in sigma of the noise, is an edge. */
static const double edge_sigmas = 6.0;

/* Samples at like places may differ by so much more than neighbours do. */
static const double most_unlike = 1.3;

/* So many nodes, and such a share of all, may be far off their neighbours because of edges. */
static const double most_beside_edges = 16, share_beside_edges = 0.02;

static const double normal_median = 0.67448975019608174;

/* Node i places on from one, around the period; *turns is added to its place. */
static const struct fold_node *node_at(const struct fold *fold, size_t i, double *turns)
{
    size_t whole = i / fold->count;
    *turns = (double)whole;
    return &fold->nodes[i % fold->count];
}

/* Returns the standard deviation within nodes; INFINITY where too few samples share one. */
static double gather(const struct series *series, double frequency, struct fold *fold)
{
    double base = series_at(series, 0), square = 0;
    memset(fold->nodes, 0, sizeof fold->nodes);
    for (size_t i = 0; i < series->count; i++) {
        double turns = frequency * (double)i;
        double place = turns - floor(turns);
        struct fold_node *node = &fold->nodes[(size_t)(place * FOLD_NODES) % FOLD_NODES];
        node->place += place;
        double value = series_at(series, i) - base;
        node->value += value;
        node->count++;
        node->square += value * value;
    }
    fold->count = 0;
    for (size_t i = 0; i < FOLD_NODES; i++) {
        struct fold_node *node = &fold->nodes[i];
        if (node->count == 0)
            continue;
        double left = fmax(0, node->square - node->value * node->value / node->count);
        square += left;
        fold->nodes[fold->count++] =
            (struct fold_node) { node->place / node->count,
                                 series_value(series, base + node->value / node->count),
                                 node->count, left * series->scale * series->scale };
    }
    double freedom = (double)(series->count - fold->count);
    return freedom >= FEWEST_FREEDOM ? series->scale * sqrt(fmax(0, square) / freedom) : INFINITY;
}

/* How far node i is off the straight line between its neighbours, in one sample's noise. */
static double off_line(const struct fold *fold, size_t i)
{
    double turned, on;
    const struct fold_node *before = &fold->nodes[i], *here = node_at(fold, i + 1, &turned);
    const struct fold_node *after = node_at(fold, i + 2, &on);
    double span = after->place + on - before->place;
    double share = (here->place + turned - before->place) / span;
    double line = before->value + share * (after->value - before->value);
    double variance =
        (1 - share) * (1 - share) / before->count + share * share / after->count + 1 / here->count;
    return fabs(here->value - line) / sqrt(variance);
}

static size_t below(const double *off, size_t count, double bound)
{
    size_t below = 0;
    for (size_t i = 0; i < count; i++)
        below += off[i] <= bound;
    return below;
}

/* The median, by halving the bounds between which it lies. */
static double median(const double *off, size_t count)
{
    double low = 0, high = 0;
    for (size_t i = 0; i < count; i++)
        high = fmax(high, off[i]);
    for (int step = 0; step < HALVINGS && high > low; step++) {
        double middle = (low + high) / 2;
        if (2 * below(off, count, middle) >= count)
            high = middle;
        else
            low = middle;
    }
    return high;
}

bool fold_make(const struct series *series, double frequency, double noise, struct fold *fold)
{
    double off[FOLD_NODES];
    double within = gather(series, frequency, fold);
    size_t count = fold->count;
    if (count < FEWEST_NODES)
        return false;
    for (size_t i = 0; i < count; i++)
        off[i] = off_line(fold, i);
    fold->noise = fmin(within, median(off, count) / normal_median);
    double beside_edges = (double)(count - below(off, count, edge_sigmas * noise));
    return fold->noise <= most_unlike * noise &&
           beside_edges <= most_beside_edges + share_beside_edges * (double)count;
}

/*
 * How steep it goes on, to the side of `sign`, from node i on to one that is half a gap away at least: samples
 * of one place may have come to two nodes, between which there is nothing but noise.
 */
static double onwards(const struct fold *fold, size_t i, bool back, double gap, double sign)
{
    double turned, from;
    const struct fold_node *here = node_at(fold, i, &from), *there = here;
    double span = 0;
    for (size_t k = 1; k <= MOST_SPLIT && !(span >= gap / 2); k++) {
        there = node_at(fold, back ? i - k : i + k, &turned);
        span = fabs(there->place + turned - here->place - from);
    }
    double step = back ? here->value - there->value : there->value - here->value;
    return fmax(0, sign * step / span);
}

double fold_edge(const struct fold *fold, size_t i)
{
    double turned;
    const struct fold_node *here = &fold->nodes[i];
    const struct fold_node *next = node_at(fold, i + 1, &turned);
    double step = next->value - here->value;
    double gap = next->place + turned - here->place;
    double sign = copysign(1, step);
    size_t round = i + fold->count;
    double edge = fabs(step) - gap * (onwards(fold, round, true, gap, sign) +
                                      onwards(fold, round + 1, false, gap, sign));
    double noise = fold->noise * sqrt(1 / here->count + 1 / next->count);
    return edge > edge_sigmas * noise ? edge : 0;
}

/* Two samples that are edge_sigmas of their difference apart leave half of that squared. */
bool fold_astride(const struct fold *fold, size_t i)
{
    double most = edge_sigmas * fold->noise;
    return fold->nodes[i].square > (fold->nodes[i].count - 1) * most * most;
}

/* An edge lies evenly in its gap, and two of the same size make a triangle: by variances. */
static void add_edge(double size, double gap, double sum, struct fold_averages *seen)
{
    double edge = size * gap * sqrt(0.5);
    seen->edges = hypot(seen->edges, edge);
    seen->square_edges = hypot(seen->square_edges, edge * fabs(sum - 2 * seen->mean));
    seen->level_edges = hypot(seen->level_edges, edge * fabs(sum));
}

/*
 * The edge behind node i, and one that node i + 1 is astride of: that lies within half of what is
 * between its neighbours, as a node's mean and place tell how many samples are before it.
 */
static void add_edges(const struct fold *fold, size_t i, struct fold_averages *seen)
{
    double turned, on;
    const struct fold_node *here = &fold->nodes[i], *next = node_at(fold, i + 1, &turned);
    const struct fold_node *after = node_at(fold, i + 2, &on);
    double edge = fold_edge(fold, i);
    if (edge > 0)
        add_edge(edge, next->place + turned - here->place, here->value + next->value, seen);
    if (fold_astride(fold, (i + 1) % fold->count))
        add_edge(fabs(after->value - here->value), (after->place + on - here->place) / 2,
                 here->value + after->value, seen);
}

/* The mean square of samples on both sides of an edge is that of their mean and this. */
static double squares_beside(const struct fold *fold, size_t i)
{
    return fold_astride(fold, i) ? fold->nodes[i].square / fold->nodes[i].count : 0;
}

struct fold_averages fold_average(const struct fold *fold)
{
    struct fold_averages seen = { 0 };
    double base = fold->nodes[0].value, spread = 0, lost = 0;
    double square = 0;
    for (size_t i = 0; i < fold->count; i++) {
        double turned, before;
        const struct fold_node *here = &fold->nodes[i], *next = node_at(fold, i + 1, &turned);
        const struct fold_node *last = node_at(fold, i + fold->count - 1, &before);
        double weight = (next->place + turned - (last->place + before - 1)) / 2;
        double value = here->value - base;
        seen.mean += weight * value;
        square += weight * (value * value + squares_beside(fold, i));
        spread += weight * weight / here->count;
        lost += weight / here->count;
    }
    seen.spread = sqrt(spread);
    seen.mean_square =
        fmax(0, square - seen.mean * seen.mean - fold->noise * fold->noise * (lost - spread));
    seen.mean += base;
    for (size_t i = 0; i < fold->count; i++)
        add_edges(fold, i, &seen);
    return seen;
}
