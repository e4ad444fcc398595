/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Aliases: a sine of frequency f sampled at a rate r looks like one of
 * |f - k r|, for the whole k that makes this smallest. Two captures at
 * different rates show which f it was. Any one unit throughout.
 */
#ifndef GRADUS_CORE_ALIAS_H
#define GRADUS_CORE_ALIAS_H

#include <stddef.h>

/* What a capture shows. */
struct apparent {
    double frequency;   /* 0 ... rate / 2 */
    double uncertainty; /* expanded, >= 0, the time base's part included */
    double rate;        /* samples per second, > 0 */
};

/* What two captures say together. */
enum alias_verdict {
    ALIAS_NONE,       /* the frequency is the one seen */
    ALIAS_RESOLVED,   /* it is another, the only one that explains both */
    ALIAS_AMBIGUOUS,  /* several explain both: take rates that have less in common */
    ALIAS_UNEXPLAINED /* none does: the signal changed, or is above the highest */
};

/* Where a frequency >= 0 appears when it is sampled at `rate` > 0. */
double alias_of(double frequency, double rate);

/*
 * The true frequencies up to `highest` that would explain both captures,
 * ascending; writes at most `room` of them and returns how many there are.
 * Looks at 2 highest / rate frequencies of the first.
 */
size_t alias_candidates(const struct apparent *first, const struct apparent *second, double highest,
                        double *candidates, size_t room);

/*
 * Judges two captures; `*frequency` is written for ALIAS_NONE and ALIAS_RESOLVED only.
 *
 * highest  what the input still lets through: nothing above is thought of
 */
enum alias_verdict alias_judge(const struct apparent *first, const struct apparent *second,
                               double highest, double *frequency);

#endif
