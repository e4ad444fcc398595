/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "store_missing.h"

#include "daemon/basics/json_text.h"
#include "daemon/basics/wall_clock.h"
#include "event_kinds.h"
#include "store_db_priv.h"
#include "store_read.h"

#include <inttypes.h>
#include <string.h>

/* Whether a row was removed by policy, or is on record as missing already. */
static bool is_accounted_for(sqlite3 *sqlite, const char *kind, int64_t id)
{
    static const char sql[] = "SELECT last >= ?2 FROM events WHERE kind = ?1 AND first <= ?2"
                              " ORDER BY first DESC LIMIT 1";
    sqlite3_stmt *at = store_read_about(sqlite, sql, kind, NULL);
    sqlite3_bind_int64(at, 2, id);
    bool there = sqlite3_step(at) == SQLITE_ROW && sqlite3_column_int(at, 0) != 0;
    sqlite3_finalize(at);
    return there;
}

/* Puts on record what does not fit, from one id to another, as the row behind it. */
static bool record(struct store_db *db, const char *kind, int64_t first, int64_t last,
                   const struct anchor *anchor)
{
    char time[ENCODE_TIME_SIZE];
    char hex[2 * CHAIN_SIZE + 1];
    uint8_t digest[CHAIN_SIZE];
    struct text body = { 0 };
    const struct wall_time now = wall_time_now();
    text_open(&body, '{');
    text_member_string(&body, "anchored", anchor->time);
    text_member_string(&body, "digest", anchor_hex(anchor->digest, hex));
    text_close(&body, '}');
    struct store_event event = { .time = encode_time(time, now),
                                 .at = now,
                                 .kind = kind,
                                 .first = first,
                                 .last = last,
                                 .body = body.bytes };
    if (last > db->last)
        db->last = last;
    bool recorded = !body.failed && store_db_event(db, &event, digest);
    text_free(&body);
    return recorded;
}

/* Inside a transaction. False: it failed. */
static bool check(struct store_db *db, const struct anchor_end *end, char *said, size_t size)
{
    const struct anchor *anchor = &end->last;
    uint8_t digest[CHAIN_SIZE];
    if (store_read_before(db->sqlite, anchor->id + 1, digest)) {
        if (memcmp(digest, anchor->digest, CHAIN_SIZE) == 0)
            return true;
    } else if (is_accounted_for(db->sqlite, EVENT_TEXT_PRUNED, anchor->id) ||
               is_accounted_for(db->sqlite, EVENT_TEXT_MISSING, anchor->id)) {
        return true;
    } else if (db->last < anchor->id) {
        snprintf(said, size,
                 "rows %" PRId64 " to %" PRId64 " were there at %s and are missing: the database "
                 "was cut short, emptied, removed or replaced by an older copy; new rows begin "
                 "behind them",
                 db->last + 1, anchor->id, anchor->time);
        return record(db, EVENT_TEXT_MISSING, db->last + 1, anchor->id, anchor);
    }
    if (is_accounted_for(db->sqlite, EVENT_TEXT_DIFFERS, anchor->id))
        return true;
    snprintf(said, size,
             "row %" PRId64 " is not the one that was there at %s: the database was altered or "
             "replaced by another",
             anchor->id, anchor->time);
    return record(db, EVENT_TEXT_DIFFERS, anchor->id, anchor->id, anchor);
}

enum store_state store_missing_check(struct store_db *db, const struct anchor_end *end, char *said,
                                     size_t size, struct failure *failure)
{
    said[0] = '\0';
    bool checked = store_db_begin(db) && (end->last.id == 0 || check(db, end, said, size));
    if (checked && said[0] == '\0') {
        sqlite3_exec(db->sqlite, "ROLLBACK", NULL, NULL, NULL);
        return STORE_WELL;
    }
    if (checked && store_db_commit(db))
        return STORE_WELL;
    said[0] = '\0';
    return store_db_abandon(db, failure);
}

uint64_t store_missing_count(struct store_db *db)
{
    static const char sql[] = "SELECT coalesce(sum(last - first + 1), 0) FROM events"
                              " WHERE kind = ?1";
    sqlite3_stmt *at = store_read_about(db->sqlite, sql, EVENT_TEXT_MISSING, NULL);
    uint64_t count = sqlite3_step(at) == SQLITE_ROW ? (uint64_t)sqlite3_column_int64(at, 0) : 0;
    sqlite3_finalize(at);
    return count;
}
