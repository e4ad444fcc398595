/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Rows that were there and are not: a database that was cut short, emptied,
 * removed or replaced by an older copy is not gone on with as if nothing had
 * been. What its anchors name and it has not is put on record as an event,
 * which `verify` tells for ever, and new rows get ids behind it.
 */
#ifndef GRADUS_DAEMON_STORE_MISSING_H
#define GRADUS_DAEMON_STORE_MISSING_H

#include "store_anchor.h"
#include "store_db.h"

/*
 * Compares the database with the end of its anchors, and puts on record what
 * does not fit; `said` says it for the log then, else it is empty.
 */
enum store_state store_missing_check(struct store_db *db, const struct anchor_end *end, char *said,
                                     size_t size, struct failure *failure);

/* How many rows are on record as missing. */
uint64_t store_missing_count(struct store_db *db);

#endif
