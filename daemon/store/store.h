/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The store of readings: what is appended on the loop thread is written by a
 * thread of its own, all that waits in one commit, and handed back when it is
 * durable. A second thread reads what is asked of it, page by page.
 *
 * While the database cannot be written, records are held in memory up to the
 * bound of the settings and written when it can be; what would exceed the
 * bound is refused and counted. Nothing that was taken is dropped but by the
 * end of the process.
 *
 * All functions are for the loop thread.
 */
#ifndef GRADUS_DAEMON_STORE_H
#define GRADUS_DAEMON_STORE_H

#include "daemon/basics/mailbox.h"
#include "store_anchor.h"
#include "store_db.h"
#include "store_query.h"
#include "store_record.h"
#include "store_retention.h"

struct store;

/* What the store calls, on the loop thread. */
struct store_hooks {
    void *context;
    /* The database can no longer be written, or can be again. */
    void (*changed)(void *context);
};

/* How the store is doing. */
struct store_view {
    enum store_state state;
    struct failure failure;       /* why, when that is not STORE_WELL */
    size_t held;                  /* records not written yet */
    size_t hold;                  /* most of them */
    uint64_t written;             /* records made durable since the start */
    uint64_t refused;             /* records that were one too many */
    uint64_t commits;             /* transactions of records */
    uint64_t set_aside;           /* damaged databases */
    uint64_t removed;             /* readings and summaries past their time */
    uint64_t missing;             /* rows that were there once and were found to be missing */
    struct store_removal removal; /* what waits to be removed */
};

/*
 * Opens or makes the database and starts the threads. A database that cannot
 * be used now is no reason to fail: it is tried again. NULL with the failure
 * set when it belongs to something else or a newer version, or another
 * process writes this store, or memory or threads are not to be had.
 *
 * settings  borrowed; `mailbox` must outlive the store
 */
struct store *store_new(const struct bench_store *settings, struct mailbox *mailbox,
                        const struct store_hooks *hooks, struct failure *failure);

/*
 * Writes what is held, if that can be done at once, and ends the threads;
 * records that are lost so are counted in the log. What was written and
 * answered is in the mailbox then. Accepts NULL.
 */
void store_stop(struct store *store);

/* Frees what was stopped; `done` is not called any more. Accepts NULL. */
void store_free(struct store *store);

/*
 * Takes a record over; its `done` is called once it is durable, and it is
 * freed after that. `done` and `owner` may still be set or cleared by the
 * loop thread until then. False, and the record is the caller's still, when
 * as many are held as may be.
 */
bool store_append(struct store *store, struct record *record);

/* Hands a question over; it comes back through its `done`. */
void store_ask(struct store *store, struct store_query *query);

/*
 * Lets what waits to be removed go, as far as it is from before a time. False
 * with the failure set when nothing waits, or not so much.
 */
bool store_allow(struct store *store, struct wall_time before, struct failure *failure);

/* The key of the store's anchors; of length 0 where there is none. Good as long as the store. */
const struct anchor_key *store_anchor_key(const struct store *store);

/* Whether one of its threads is stuck: what it is at takes far longer than it can. */
bool store_is_late(struct store *store, struct moment now);

/* How it is doing at this moment. */
struct store_view store_view(struct store *store);

#endif
