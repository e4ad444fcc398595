/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What stations (station.c) and the crew of them (crew.c) share. */
#ifndef GRADUS_DAEMON_STATION_PRIV_H
#define GRADUS_DAEMON_STATION_PRIV_H

#include "daemon/basics/log.h"
#include "station.h"
#include "worker.h"

struct station {
    struct crew *crew;
    struct station *next_retired;
    char name[BENCH_NAME];
    char digest[DIGEST_SIZE];
    char link[sizeof((struct link_spec *)NULL)->text];
    struct worker *worker;
    struct job *open; /* with the worker, doubly linked */
    size_t open_count;
    struct session *holder;
    bool alone;               /* the holder keeps burn-ins off too */
    struct job_status status; /* when the worker last told of it */
    struct failure failure;   /* of the last job, or why it is away */
    struct moment heard;      /* {0}: never */
    struct log_trouble trouble;
    bool known; /* the worker has told of it */
    bool away;  /* its link was broken when it was last heard of */
};

struct crew {
    struct event_base *base;
    struct mailbox *mailbox;
    struct crew_hooks hooks;
    struct station **stations;
    size_t count;
    struct station *retired;
    struct event *hurry; /* ends what is under way, some time after crew_stop() */
    bool stopping;
};

/* The worker has found the instrument gone, still gone, or back again; `owner` is the station. */
void station_news(void *owner, const struct job_status *status, const struct failure *failure);

/* Refuses all that waits for an instrument. */
void station_refuse_waiting(struct station *station, const struct failure *failure);

/* Answers a job with a failure, and takes it back if it was not begun. */
void station_refuse(struct job *job, const struct failure *failure);

#endif
