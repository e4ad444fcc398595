/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Keeping the anchors of a store: compared with the database whenever that is
 * opened, and carried on as it grows. Used by whoever has the writing connection.
 */
#ifndef GRADUS_DAEMON_STORE_ANCHORS_H
#define GRADUS_DAEMON_STORE_ANCHORS_H

#include "daemon/basics/log.h"
#include "daemon/bench/bench.h"
#include "store_anchor.h"
#include "store_db.h"

struct anchors {
    char database[512];
    char path[520];
    struct anchor_key key;
    struct duration every;
    struct anchor last; /* the last line of the file */
    bool known;         /* that is so; else it is to be read anew */
    struct moment next; /* not before then; none: at once */
    struct moment tell; /* when the log is to have it again */
    struct log_trouble trouble;
};

/* Begins; reads the key. False with the failure set. */
bool anchors_begin(struct anchors *anchors, const struct bench_store *settings,
                   struct failure *failure);

/*
 * Compares a database that was opened, and puts on record what it lacks (see store_missing.h),
 * which is logged; `missing` becomes how many rows that are in all.
 */
enum store_state anchors_compare(struct anchors *anchors, struct store_db *db, uint64_t *missing,
                                 struct failure *failure);

/* Anchors the newest row where it is time, or where it is the end. */
void anchors_follow(struct anchors *anchors, struct store_db *db, bool end);

/* When there is something to be anchored next; far away: nothing is. */
struct moment anchors_next(const struct anchors *anchors, const struct store_db *db);

/* The database is about to be put away under a name: what was anchored counts no more. */
bool anchors_aside(struct anchors *anchors, const char *name, struct failure *failure);

#endif
