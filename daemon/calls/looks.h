/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * What there is and how it is doing, as plain figures: looked up here, written
 * by encode_looks, so that whoever shows it another way need not look again.
 * The points are rows of the bench already. Borrowed parts are good until the
 * loop goes on.
 */
#ifndef GRADUS_DAEMON_LOOKS_H
#define GRADUS_DAEMON_LOOKS_H

#include "service.h"

/* An instrument of the settings. */
struct instrument_look {
    const struct bench_instrument *instrument;
    bool attended;            /* somebody works with it; not while the daemon is going */
    struct station_view view; /* how it is doing, when it is attended */
};

/* The daemon itself. */
struct health_look {
    struct duration up; /* since it was started */
    struct wall_time started;
    const struct bench *bench; /* the settings in effect */
    bool stopping;
    size_t clients;
    struct loop_counters counters;
    struct loop_stretches stretches;
    uint64_t waited;         /* turns of the loop, by who asks */
    bool keeps;              /* readings, in a store */
    struct store_view store; /* how that is doing, when they are kept */
};

/* The instrument of an index in the present bench. */
struct instrument_look look_at_instrument(const struct service *service, size_t index);

/* The daemon now. Its instruments are looked at one by one. */
struct health_look look_at_health(const struct service *service);

#endif
