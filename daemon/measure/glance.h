/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * A quick look at a point's input, for telling whether a probe held by hand
 * touches something: one acquisition where the range holds, no proof of a
 * value, and never a reading. On the instrument's worker.
 */
#ifndef GRADUS_DAEMON_GLANCE_H
#define GRADUS_DAEMON_GLANCE_H

#include "core/input/lead_zero.h"
#include "daemon/bench/bench.h"
#include "drivers/instrument/instrument.h"

struct courtesy; /* acquire.h */

/* Where glances at a point begin; hand it from one to the next. {0}: at what is expected. */
struct glance_ranges {
    bool known;
    struct setup setup; /* of the quantity */
    size_t alternating; /* range of the alternating content, where another function shows it */
    bool alternating_known;
};

/* What was seen, tip units. */
struct glance {
    bool overload; /* in the widest range too */
    double value;  /* NAN: the instrument has none, or overloaded */
    double step;   /* what it may differ by although nothing moved */
    double spread; /* alternating content; NAN: not looked at, or the instrument cannot show it */
    double spread_step;
};

/*
 * Looks once, in wider ranges until one holds. False with the failure set
 * when nothing can be said about the input.
 *
 * wants_spread  whether the alternating content is to be seen even where that takes another
 *               function of the instrument
 * courtesy      towards others who want the instrument; NULL: none
 */
bool glance(struct instrument *instrument, const struct bench *bench,
            const struct bench_point *point, const struct lead_zero *zero, bool wants_spread,
            struct deadline deadline, const struct courtesy *courtesy, struct glance_ranges *ranges,
            struct glance *seen, struct failure *failure);

#endif
