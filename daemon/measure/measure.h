/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The measuring procedure: one point, from request to reading, on the thread
 * that owns the instrument. Asks core/range/plan what to do, has drivers/ do it,
 * re-checks what comes back, and has core/reading make the result of it.
 */
#ifndef GRADUS_DAEMON_MEASURE_H
#define GRADUS_DAEMON_MEASURE_H

#include "analysis.h"
#include "core/input/lead_zero.h"
#include "core/reading.h"
#include "daemon/bench/bench.h"
#include "drivers/instrument/instrument.h"
#include "memory.h"
#include "shape.h"

struct courtesy; /* acquire.h */

/* Zeros of the leads of a point, and of the one that its limits refer to. {0}: there are none. */
struct measure_zeros {
    struct lead_zero own;
    struct lead_zero reference;
};

/* A captured waveform at the tip. `samples` is freed with free(). */
struct capture {
    struct reading reading; /* of the point's quantity; may hold a failure while samples are good */
    double *samples;        /* tip units */
    size_t count;
    double interval;             /* seconds */
    struct analysis analysis;    /* parameters at the tip */
    struct shape_figures shapes; /* those that have an uncertainty */
};

/*
 * Measures a point. Always fills `reading`: with a value, or with the failure.
 * Where its limits refer to another point, that one is measured just before
 * it; without it there is no reading.
 *
 * repeats   readings to average, >= 1, all in the setup that settled
 * courtesy  towards others who want the instrument, or no longer want the reading; NULL: none
 */
void measure_point(struct instrument *instrument, const struct bench *bench,
                   const struct bench_point *point, const struct measure_zeros *zeros,
                   size_t repeats, struct deadline deadline, const struct courtesy *courtesy,
                   struct measure_memory *memory, struct reading *reading);

/*
 * Captures a point's waveform in the setup that settles. False with the
 * failure in capture->reading.failure when there is none: the instrument is
 * no scope, or the reading failed.
 *
 * duration  seconds; NAN for the point's own
 */
bool measure_capture(struct instrument *instrument, const struct bench *bench,
                     const struct bench_point *point, double duration, struct deadline deadline,
                     const struct courtesy *courtesy, struct measure_memory *memory,
                     struct capture *capture);

#endif
