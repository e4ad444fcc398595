/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Bringing a measurement to the setup that resolves best, and a scope to a
 * record that suits the signal. On the instrument's worker.
 */
#ifndef GRADUS_DAEMON_SETTLE_H
#define GRADUS_DAEMON_SETTLE_H

#include "acquire.h"
#include "core/input/lead_zero.h"
#include "core/reading.h"
#include "core/waveform/timebase.h"
#include "daemon/bench/bench.h"
#include "memory.h"
#include "second_look.h"

/* One measurement under way: what it is for, and the state that its steps share. */
struct measurement {
    struct instrument *instrument;
    const struct bench_point *point;
    const struct bench *bench;
    struct lead_zero lead_zero;
    double leads_age; /* seconds since that was taken; NAN: never, or it does not count */
    struct probe leads;
    struct chain chain;
    struct request request;
    struct deadline deadline;
    const struct courtesy *courtesy; /* towards others, between acquisitions; NULL: none */
    struct acquisition acquisition;
    struct moment seen_at; /* when that was there */
    struct trace *trace;   /* NULL unless a capture is wanted */
    struct failure *failure;
    struct timebase_need need; /* of a scope's record */
    bool captures;             /* a trace is to be had even where the figure of shape is not */
    bool record_given;         /* how long a scope looks is stated, not ours to choose */
    struct second_look sure;   /* of the frequency; `reason` is to be told */
    double beyond;             /* of the plan that settled */
};

/* Makes ready: the chain, the leads, how long to look. False: the instrument cannot measure it. */
bool measurement_prepare(struct measurement *measurement, const struct measure_memory *memory);

/* The scope of the point's instrument, as its profile has it. */
const struct scope *measurement_scope(const struct measurement *measurement);

/* What its acquisitions are made with; borrows from it. */
struct acquirer measurement_acquirer(const struct measurement *measurement);

/*
 * Lets others have their turn before reading `next` (from 0) of `count` repeats. False with the
 * failure set when nobody waits for them any more.
 */
bool measurement_goes_on(const struct measurement *measurement, size_t next, size_t count);

/* One acquisition in the setup that is set. False with the failure set. */
bool measurement_look(struct measurement *measurement);

/*
 * Settles in a record that suits the signal: one that was chosen for a
 * frequency that is not there any more is given up for the point's own, and one
 * with too few periods or samples a period for a better one, where there
 * is one. A frequency counts once a second look has confirmed it.
 */
bool measurement_settle(struct measurement *measurement, const struct measure_memory *memory,
                        struct reading *reading);

#endif
