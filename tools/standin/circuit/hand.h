/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The hand that holds a probe on an input without a scanner: it puts the tip
 * on a source, lifts it, lets it bounce and slip. A lifted tip picks up hum
 * behind a high resistance, and drifts with what is left on it. Everything
 * follows from the moves, their times and the seed.
 */
#ifndef STANDIN_HAND_H
#define STANDIN_HAND_H

#include "source.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

enum { HAND_MOVES = 32 };

/* From `at` (seconds since the bench started) the tip is on `node`, or in the air where NULL. */
struct hand_move {
    double at;
    double bounce_s; /* so long contact comes and goes */
    const struct source *node;
};

struct hand {
    bool holds; /* this input has a hand; else it is wired */
    uint64_t seed;
    double hum;      /* of a lifted tip: peak, volts unloaded */
    double mains_hz; /* its frequency */
    double leftover; /* of a lifted tip: bound on its drifting level, volts unloaded */
    size_t count;
    struct hand_move moves[HAND_MOVES]; /* by time */
};

/* A hand that holds its tip in the air: 0.3 V of hum at 50 Hz, 5 mV left over. */
struct hand hand_begin(uint64_t seed);

/*
 * Adds a move; those planned for later than it are called off, and of those
 * that are over the oldest are forgotten.
 */
void hand_move(struct hand *hand, const struct hand_move *move, double now);

/* Where the tip is once all moves at `now` are done, NULL in the air. */
const struct source *hand_node(const struct hand *hand, double now);

/*
 * What the tip sees, for a look that ends now: a copy of the source it is on, the
 * air, or what is between where it was part of the time on either.
 */
struct source hand_feel(const struct hand *hand, double now);

#endif
