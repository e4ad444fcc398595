/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Walking the chain of digests: each row must follow from the one before, a
 * gap must have been signed off by the row of its removal, the last row must
 * be the one that the head names, and each row that was anchored the one that
 * was.
 */
#ifndef GRADUS_DAEMON_STORE_VERIFY_H
#define GRADUS_DAEMON_STORE_VERIFY_H

#include "core/basics/failure.h"
#include "store_anchor_walk.h"
#include "store_chain.h"

#include <sqlite3.h>
#include <stdbool.h>
#include <stdint.h>

/* A walk under way. Start with {0}. */
struct store_verify {
    bool begun;
    bool ended;
    int64_t last; /* id of the last row that fits, or up to which all was removed */
    uint8_t digest[CHAIN_SIZE];
    uint64_t readings; /* that fit */
    uint64_t events;
    uint64_t removed;             /* ids in gaps that were signed off */
    uint64_t missing;             /* ids in gaps that are on record as lost */
    const struct anchor_key *key; /* that the anchors were written with; NULL: not known */
    struct anchor_walk anchors;
    int64_t first_bad;
    char what[200]; /* what does not fit first; empty: nothing so far */
};

/*
 * Goes on by at most `rows` rows, in a transaction that the caller has begun. Sets `ended` at the end
 * or at the first thing behind which nothing can be told. False with the failure set when
 * the database cannot be read.
 */
bool store_verify_walk(struct store_verify *verify, sqlite3 *sqlite, size_t rows,
                       struct failure *failure);

#endif
