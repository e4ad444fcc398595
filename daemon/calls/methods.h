/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * What clients can ask for: one table of methods with their parameters. The
 * enumerations name the places of the arguments, in the order a client may
 * give them by position.
 */
#ifndef GRADUS_DAEMON_METHODS_H
#define GRADUS_DAEMON_METHODS_H

#include "daemon/server/rpc.h"

enum { AUTHENTICATE_TOKEN };
enum { MEASURE_POINT, MEASURE_REPEAT, MEASURE_DEADLINE, MEASURE_JOB };
enum {
    READ_INSTRUMENT,
    READ_INPUT,
    READ_QUANTITY,
    READ_PROBE,
    READ_MORE,
    READ_REPEAT,
    READ_DEADLINE,
    READ_JOB
};
enum { EXPLAIN_POINT };
enum { DIAGNOSE_SHEET, DIAGNOSE_OUTCOMES };
enum { UNLOAD_FIRST, UNLOAD_SECOND, UNLOAD_DEADLINE };
enum { AGREE_POINT, AGREE_INSTRUMENTS, AGREE_FIRST, AGREE_SECOND, AGREE_DEADLINE };
enum { COMPENSATE_POINT, COMPENSATE_FREQUENCY, COMPENSATE_DEADLINE };
enum { ZERO_POINT, ZERO_DEADLINE };
enum {
    CAPTURE_POINT,
    CAPTURE_SAMPLES,
    CAPTURE_DURATION,
    CAPTURE_DEADLINE,
    CAPTURE_JOB,
    CAPTURE_WHEN,
    CAPTURE_BEFORE,
    CAPTURE_AFTER,
    CAPTURE_WAIT
};
enum { FOLLOW_POINTS, FOLLOW_EVERY, FOLLOW_READINGS, FOLLOW_DEADLINE, FOLLOW_READ };
enum { UNFOLLOW_SUBSCRIPTION };
enum { WALK_SHEET, WALK_ANEW, WALK_JOB, WALK_LED };
enum {
    WALK_SUBSCRIPTION,
    WALK_KEY,
    WALK_POINT = WALK_KEY,
    WALK_NOTE = WALK_KEY,
    WALK_FOR_GOOD = WALK_KEY
};
enum { HOLD_INSTRUMENT, HOLD_ALONE };
enum {
    READINGS_POINT,
    READINGS_SINCE,
    READINGS_UNTIL,
    READINGS_LIMIT,
    READINGS_RUN,
    READINGS_AFTER,
    READINGS_BEFORE,
    READINGS_JOB,
    READINGS_SERIAL
};
enum { PRUNE_BEFORE };
enum { BURNIN_PLAN, BURNIN_JOB };
enum { BURNIN_RUN };
enum { EVENTS_RUN, EVENTS_AFTER, EVENTS_LIMIT };
enum { STUDY_RUN, STUDY_POINT, STUDY_WIDTH };
enum { TALK_INSTRUMENT, TALK_COMMAND, TALK_REPLY, TALK_DEADLINE };

/* The table; its handlers take a struct service as context and a struct session as peer. */
const struct rpc_method *methods_table(void);

#endif
