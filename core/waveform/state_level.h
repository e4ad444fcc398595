/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The level of a state more finely than the mode of a histogram has it: core/waveform/levels' other half. */
#ifndef GRADUS_CORE_STATE_LEVEL_H
#define GRADUS_CORE_STATE_LEVEL_H

#include "core/samples/series.h"

/* Stored units. */
struct state_level {
    double level;
    double
        standard; /* standard uncertainty by noise, and by what a step hides where no noise dithers it */
    double doubt; /* bound on what a state that has not quite settled, or still rings, does to it */
    double averaged; /* roundings that it is a mean of: 1 where they are all the same */
};

/* Whether noise of one sample makes the converter's roundings differ from sample to sample. */
bool state_dithered(const struct series *series, double noise);

/* How far from a state's level samples lie that are of it: three sigma and half a step, stored units. */
double state_reach(const struct series *series, double noise);

/*
 * The mean of the samples that are of the state, again and again from there; three times is enough.
 *
 * noise  standard deviation of one sample's, without what the converter's step hides
 */
struct state_level state_level(const struct series *series, double mode, double noise);

/* Means over a part of each state; with a count of 0 there are none. */
struct state_part {
    double count;
    double sum;
};

/*
 * The level from the later part of each state, where the edge's tail is over; `early` is the part before it.
 * Of an exponential tail that has died away to a tenth from the one part to the other, no more
 * than a quarter of what they differ is left (own derivation). Without a later part it is what
 * state_level() found.
 */
struct state_level state_settled(const struct series *series, const struct state_level *found,
                                 const struct state_part *early, const struct state_part *late,
                                 double noise);

#endif
