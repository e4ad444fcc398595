/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * A periodic record folded over its period: samples of all periods side by side at their place in
 * it, so that what repeats is known as finely as all of them lie, and what does not repeat is
 * noise. All in the record's values; places in periods, 0 to 1.
 */
#ifndef GRADUS_CORE_FOLD_H
#define GRADUS_CORE_FOLD_H

#include "core/samples/series.h"

#include <stdbool.h>

enum { FOLD_NODES = 1024 };

/* Samples that lie within one 1024th of the period of one another. */
struct fold_node {
    double place;  /* mean of the samples' */
    double value;  /* mean of theirs */
    double count;  /* >= 1 */
    double square; /* of what they differ, summed */
};

struct fold {
    size_t count; /* nodes, at least 16 */
    double noise; /* standard deviation of one sample about what repeats, rounding included */
    struct fold_node nodes[FOLD_NODES];
};

/*
 * Folds a record. False, with nothing to be used in `fold`, where fewer than 16 places have a
 * sample, or what lies at like places differs by more than neighbouring samples do, so that the
 * record does not repeat, or more nodes than edges can explain are off their neighbours. One pass; 32 KiB in `fold`, 8 KiB of stack.
 *
 * The noise is by the median of what each node is off the straight line between its neighbours, or
 * by what the samples of a node differ where that is less, as when few places have all samples.
 *
 * frequency  periods per sample, as core/waveform/rhythm finds it
 * noise      standard deviation of one sample as its neighbours show it, in the record's values
 */
bool fold_make(const struct series *series, double frequency, double noise, struct fold *fold);

/* What of the step from node i to the next one, around the period, is a steep edge; 0: it is none. */
double fold_edge(const struct fold *fold, size_t i);

/* Whether samples of node i lie on both sides of a steep edge: they differ by more than noise does. */
bool fold_astride(const struct fold *fold, size_t i);

/* Averages over the period, by trapezoids from node to node. */
struct fold_averages {
    double mean;
    double mean_square; /* of the distance from the mean, without the noise's */
    double spread; /* root of the sum of the weights' squares: noise of a mean in one sample's */
    double edges;  /* bound, triangular, on what steep edges between nodes do to the mean, */
    double square_edges; /* to the mean square about the mean, */
    double level_edges;  /* and to the mean square about zero */
};

/* The averages of a record that fold_make() has folded. */
struct fold_averages fold_average(const struct fold *fold);

#endif
