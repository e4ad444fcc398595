/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Which ways there are to set an input up, and what each would be worth for a
 * signal whose extremes are known: for each range and coupling the best
 * offset or position.
 */
#ifndef GRADUS_CORE_SETUPS_H
#define GRADUS_CORE_SETUPS_H

#include "core/input/chain.h"

/* Most setups of one front end: each range with either coupling. */
enum { SETUPS_MOST = 2 * CHAIN_MAX_RANGES };

struct span {
    double low;
    double high;
};

/* Where the signal's extremes lie. */
struct extremes {
    struct span total; /* dc included; infinite when not known */
    struct span swing; /* relative to the mean, as ac coupling shows them */
    bool sure;         /* the spans hold the truth, and a setup must hold it whatever its own
                          errors of level; false: they are the signal as it was seen */
    double noise;      /* so much of them at either end is noise that is as many steps of any range
                          finer than the one on which the signal was seen; 0: none */
};

/* One setup weighed: whether it surely holds the signal, and how uncertain it would be. */
struct weighed {
    struct setup setup;
    bool fits;
    double standard; /* combined standard uncertainty, tip units */
};

/*
 * Weighs every setup for a signal with such extremes: for each range and
 * coupling the best offset or position. Writes at most `max` candidates,
 * ascending by range, and returns how many there are.
 */
size_t setups_weigh(const struct chain *chain, const struct signal *signal,
                    const struct extremes *extremes, struct weighed *candidates, size_t max);

/* Whether `a` is to be preferred: it fits and `b` does not, or it is the less uncertain. */
bool weighed_beats(const struct weighed *a, const struct weighed *b);

/*
 * The setup of a range, dc coupled, whose middle is as near to `centre` as
 * offset or position can bring it.
 */
struct setup setup_centred(const struct front_end *input, size_t range, double centre);

#endif
