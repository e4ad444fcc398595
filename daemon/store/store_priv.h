/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The insides of the store: what its two sides, the loop thread and the writing thread, share. */
#ifndef GRADUS_DAEMON_STORE_PRIV_H
#define GRADUS_DAEMON_STORE_PRIV_H

#include "daemon/basics/log.h"
#include "daemon/basics/progress.h"
#include "store.h"
#include "store_anchors.h"
#include "store_guard.h"
#include "store_retention.h"

#include <pthread.h>

struct store {
    struct bench_store settings;
    struct mailbox *mailbox;
    struct store_hooks hooks;
    struct store_reader *reader;
    int lock_file; /* held while this process writes the store */
    struct store_guard guard;
    pthread_t thread;
    bool started; /* the thread runs */
    struct progress progress;

    pthread_mutex_t lock;
    pthread_cond_t changed;
    struct record *first; /* to be written, oldest first; under the lock, as is all to the gap */
    struct record **end;
    struct record *written; /* to be handed back */
    struct record **written_end;
    bool posted; /* the letter is under way */
    bool turned; /* from well to not, or back, and the loop thread has not been told */
    bool suspect;
    bool stopping;
    struct wall_time allowed; /* what was before it may go; 0: nothing was allowed */
    struct store_view view;

    struct letter letter;
    struct log_trouble refusing; /* the loop thread's alone */

    /* The writing thread's alone, once it runs. */
    struct record *group; /* being written, oldest first */
    struct record **group_end;
    size_t group_count;
    struct store_db *db;       /* NULL: to be opened */
    char follows[STORE_ASIDE]; /* file that was set aside for it; empty: none */
    struct log_trouble trouble;
    struct duration pause;       /* before the next try; none: all is well */
    struct moment prune_next;    /* when to look for what is past its time */
    bool pruning;                /* a round is under way ... */
    struct wall_time prune_from; /* ... that counts ages from here */
    struct retention retention;
    struct anchors anchors;
    struct log_trouble waiting; /* for a clock, or consent, to remove anything */
};

/* Opens the database, and compares it with its anchors. */
enum store_state store_open_db(struct store *store, struct failure *failure);

/* The writing thread. */
void *store_writer(void *store);

/* Has the loop thread look; the lock is held. */
void store_wake_loop(struct store *store);

#endif
