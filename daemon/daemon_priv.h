/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The insides of the daemon, shared by what hangs on its loop: the methods,
 * the subscriptions, reload and stop. The loop thread's alone.
 */
#ifndef GRADUS_DAEMON_DAEMON_PRIV_H
#define GRADUS_DAEMON_DAEMON_PRIV_H

#include "daemon.h"
#include "daemon/burnin/burnin.h"
#include "daemon/burnin/burnin_follow.h"
#include "daemon/encode/encode.h"
#include "daemon/loop/answers.h"
#include "daemon/loop/follow.h"
#include "daemon/loop/probe_checks.h"
#include "daemon/server/rpc.h"
#include "daemon/server/server.h"
#include "daemon/store/store.h"
#include "daemon/work/job.h"
#include "daemon/work/session.h"
#include "daemon/work/station.h"

#include <sys/types.h>

enum { DAEMON_SIGNALS = 3 };

/* What `health` counts. */
struct daemon_counters {
    uint64_t requests;              /* lines taken */
    uint64_t readings;              /* with a value */
    uint64_t failures;              /* jobs that came to nothing */
    uint64_t dropped_notifications; /* because a client read too slowly */
};

struct daemon {
    const struct options *options;
    struct event_base *base;
    struct event *signals[DAEMON_SIGNALS];
    struct event *flushed; /* looks whether all clients have got their last answers */
    int64_t flush_until;
    struct bench *bench;
    struct measure_memory *last; /* what each point of the bench was settled on last */
    struct mailbox *mailbox;
    struct crew *crew;
    struct server *server;
    struct follow *follow;
    struct burnin_follow *burnin_follow;
    struct store *store; /* NULL: readings are not kept */
    struct answers *answers;
    struct probe_checks *probe_checks;
    struct burnin *burnin;
    struct rpc_service service;
    struct text scratch;      /* for one text at a time */
    struct text notification; /* likewise */
    uint64_t subscriptions;   /* begun so far, of every kind: the number of the last */
    char unix_path[108];      /* the socket to remove at the end; empty: none */
    dev_t unix_device;
    ino_t unix_inode;
    struct timespec started; /* wall time */
    int64_t started_at;      /* monotonic */
    uint64_t sequence;       /* of the last reading */
    struct daemon_counters counters;
    char full_text[256]; /* what a client too many is told */
    bool stopping;
};

/*
 * Hands a job to the instrument of its point, or of `instrument` when it has
 * none. False, and the job is the caller's still, when it is refused.
 */
bool daemon_submit(struct daemon *daemon, struct job *job, size_t instrument,
                   struct session *session, double deadline_ms, struct failure *failure);

/* The point of that name in the present bench, or NULL with the nearest names in the failure. */
const struct bench_point *daemon_point(const struct daemon *daemon, const char *name,
                                       struct failure *failure);

/* The index of the instrument of that name in the present bench; false with the failure set. */
bool daemon_instrument(const struct daemon *daemon, const char *name, size_t *index,
                       struct failure *failure);

/* The facts that belong to the outcome of a job, for encoding it. */
struct occasion daemon_occasion(const struct job *job);

/* Answers a call with a failure; `point` and `reading` may be NULL. */
void daemon_refuse(struct daemon *daemon, struct rpc_call *call, const struct failure *failure,
                   const struct bench *bench, const struct bench_point *point,
                   const struct reading *reading);

/* Hands the reading that a job has come to over to the store, if there is one. */
void daemon_keep(struct daemon *daemon, struct job *job);

/* Opens the store that the settings name, if they do. */
bool daemon_open_store(struct daemon *daemon, struct failure *failure);

/* Takes in the checks of probes that are on record. */
void daemon_recall_probe_checks(struct daemon *daemon);

/* Ends the store; its last answers are out then. */
void daemon_close_store(struct daemon *daemon);

/* An empty text to answer with; good until the next one is asked for. */
struct text *daemon_text(struct daemon *daemon);

/* Puts a new bench in the place of the present one; on failure that stays. */
bool daemon_deploy(struct daemon *daemon, struct bench *bench, struct failure *failure);

/* Opens the sockets that the options or else the settings name. */
bool daemon_listen(struct daemon *daemon, struct failure *failure);

/* Removes the Unix socket if it still is ours. */
void daemon_unlink(struct daemon *daemon);

/* Loads the settings again; keeps the old ones, and says why, when there is a mistake. */
void daemon_reload(struct daemon *daemon);

/* Begins to end. */
void daemon_stop(struct daemon *daemon);

#endif
