/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * What reaches the terminals of a scope's input from what is tied to it.
 *
 * One idea in two halves; the other half is scope.h, whose inputs they are.
 */
#ifndef STANDIN_FEED_H
#define STANDIN_FEED_H

#include "scope.h"

/* Everything about one input that stays the same from sample to sample. */
struct feed {
    const struct source *source; /* NULL: zero volts */
    bool ac;
    double gain;
    double share; /* of the gain, for the waveform */
    double offset;
    double wander;
    struct highpass highpass;
    double edge; /* what a probe that is not compensated adds of the waveform's fast part */
    struct highpass fast;
    bool slow;             /* the probe takes away what is above its bandwidth, */
    struct highpass above; /* which this is */
};

/* The feed of an input; draws its slow wander. */
struct feed feed_of(const struct scope *scope, size_t input, const struct tie *tie, gsl_rng *rng);

/* Volts at the terminals; `now` for the level, `phase` in periods for the waveform; with its noise. */
double feed_volts(const struct feed *feed, double now, double phase, gsl_rng *rng);

/* The same without noise; zero where nothing is tied. */
double feed_quiet(const struct feed *feed, double now, double phase);

/* Where in its period the waveform is `start` seconds after where it began. */
double feed_phase(const struct feed *feed, double start);

#endif
