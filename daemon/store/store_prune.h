/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Removing what is past its time, and summarising it where the settings say
 * so; never of a run that has begun and not ended. Each stretch of rows that
 * goes leaves an event "pruned" with its first and last id and the digest of
 * the last, and each summary is an event too, so the chain still holds.
 */
#ifndef GRADUS_DAEMON_STORE_PRUNE_H
#define GRADUS_DAEMON_STORE_PRUNE_H

#include "event_kinds.h"
#include "store_db.h"

#define STORE_DAY_S 86400.0

/* Readings older than a moment of runs that are not under way. */
#define STORE_OLD_READINGS                                                                         \
    "FROM readings WHERE time_ns < ?1 AND (run IS NULL OR run NOT IN"                              \
    " (SELECT subject FROM events AS began WHERE kind = '" EVENT_TEXT_RUN_BEGAN "' AND NOT EXISTS" \
    " (SELECT 1 FROM events WHERE kind = '" EVENT_TEXT_RUN_ENDED "' AND subject = began.subject"   \
    " AND id > began.id)))"

/*
 * One step, in one transaction: a summary interval, or some thousand rows.
 *
 * now      what ages count from; see store_retention.h
 * removed  gains the rows removed
 * more     whether another step would find more
 */
enum store_state store_prune(struct store_db *db, const struct bench_store *settings,
                             struct wall_time now, uint64_t *removed, bool *more,
                             struct failure *failure);

#endif
