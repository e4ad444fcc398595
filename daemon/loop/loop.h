/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * What everything that hangs on the loop thread shares: the present bench,
 * the instruments, the store, and the texts that are written again and again.
 * It knows nothing of methods, subscriptions and runs, which stand above it.
 *
 * All functions are for the loop thread.
 */
#ifndef GRADUS_DAEMON_LOOP_H
#define GRADUS_DAEMON_LOOP_H

#include "daemon/bench/bench.h"
#include "daemon/encode/encode.h"
#include "daemon/server/rpc.h"
#include "daemon/store/store.h"
#include "daemon/work/job.h"
#include "daemon/work/session.h"
#include "daemon/work/station.h"
#include "probe_checks.h"
#include "publish.h"

/* What the loop thread should never work at a stretch for longer, milliseconds; see loop_run(). */
enum { LOOP_STRETCH_MS = 20 };

/*
 * How long the loop thread works before it looks again at what has come, or takes the next turn of
 * lines: its own time, in which others of the machine have no part.
 */
struct loop_stretches {
    uint64_t count;
    uint64_t long_ones; /* longer than LOOP_STRETCH_MS */
    struct duration longest;
    struct duration all;
    struct duration begun; /* of the present one: what the thread had worked before it */
};

/* What `health` counts. */
struct loop_counters {
    uint64_t requests;              /* lines taken */
    uint64_t readings;              /* with a value */
    uint64_t failures;              /* jobs that came to nothing */
    uint64_t dropped_notifications; /* because a client read too slowly */
};

struct loop {
    struct event_base *base;
    struct bench *bench;         /* the present one; a reference */
    struct measure_memory *last; /* what each point of the bench was settled on last */
    struct mailbox *mailbox;
    struct crew *crew;
    struct store *store;                     /* NULL: readings are not kept */
    const struct probe_checks *probe_checks; /* the service's */
    struct publish publish;                  /* readings and events, to whoever joined */
    struct text scratch;                     /* for one text at a time */
    struct text notification;                /* likewise */
    uint64_t subscriptions; /* begun so far, of every kind: the number of the last */
    uint64_t sequence;      /* of the last reading */
    struct loop_counters counters;
    struct loop_stretches stretches;
    bool stopping;
};

/*
 * Hands a job to the instrument of its point, or of `instrument` when it has
 * none. False, and the job is the caller's still, when it is refused.
 */
bool loop_submit(struct loop *loop, struct job *job, size_t instrument, struct session *session,
                 double deadline_ms, struct failure *failure);

/* The point of that name in the present bench, or NULL with the nearest names in the failure. */
const struct bench_point *loop_point(const struct loop *loop, const char *name,
                                     struct failure *failure);

/*
 * A job for a reading at once: its point is made of `keys` (see loose_point()), and the job's own.
 * NULL with the failure set.
 */
struct job *loop_loose_job(const struct loop *loop, json_t *keys, struct failure *failure);

/* The sheet of that name in the present bench, or NULL with the nearest name in the failure. */
const struct bench_sheet *loop_sheet(const struct loop *loop, const char *name,
                                     struct failure *failure);

/* The index of the instrument of that name in the present bench; false with the failure set. */
bool loop_instrument(const struct loop *loop, const char *name, size_t *index,
                     struct failure *failure);

/* An empty text to answer with; good until the next one is asked for. */
struct text *loop_text(struct loop *loop);

/* The facts that belong to the outcome of a job, for encoding it. */
struct occasion job_occasion(const struct job *job);

/* Answers a call with a failure. */
void call_refuse(struct loop *loop, struct rpc_call *call, const struct failure *failure);

/* Answers a call with a failure of a point; `reading`, what there is of one, may be NULL. */
void call_refuse_with(struct loop *loop, struct rpc_call *call, const struct failure *failure,
                      const struct bench *bench, const struct bench_point *point,
                      const struct reading *reading);

/* Runs until event_base_loopbreak(), and keeps count of how long it works at a stretch. */
void loop_run(struct loop *loop);

/* The present stretch ends here, and the next one begins. */
void loop_stretch_end(struct loop *loop);

/* Joins the store to what is published, before anybody else; one may be opened later, or none. */
void loop_keep(struct loop *loop);

/* Opens the store that the settings name, if they do. */
bool loop_open_store(struct loop *loop, struct failure *failure);

/* Ends the store; its last answers are out then. */
void loop_close_store(struct loop *loop);

#endif
