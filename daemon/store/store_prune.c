/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "store_prune.h"

#include "daemon/basics/json_text.h"
#include "daemon/basics/wall_clock.h"
#include "event_kinds.h"
#include "store_db_priv.h"

#include <string.h>

/* Rows removed in one step where no interval bounds them. */
#define STEP "2000"

/* A step under way. */
struct pruning {
    struct store_db *db;
    char time[ENCODE_TIME_SIZE];
    struct wall_time now;
    struct wall_time from;  /* the interval a summary is of */
    struct wall_time until; /* rows before this go */
    uint64_t removed;
};

static sqlite3_stmt *prepared(struct store_db *db, const char *sql, int64_t number)
{
    sqlite3_stmt *statement = NULL;
    sqlite3_prepare_v2(db->sqlite, sql, -1, &statement, NULL);
    sqlite3_bind_int64(statement, 1, number);
    return statement;
}

/* The time of the oldest reading that may go; WALL_TIME_LAST: there is none, or it cannot be told. */
static struct wall_time oldest(struct store_db *db, struct wall_time cutoff)
{
    sqlite3_stmt *statement = prepared(db, "SELECT min(time_ns) " STORE_OLD_READINGS, cutoff.ns);
    struct wall_time time = WALL_TIME_LAST;
    if (sqlite3_step(statement) == SQLITE_ROW && sqlite3_column_type(statement, 0) != SQLITE_NULL)
        time.ns = sqlite3_column_int64(statement, 0);
    sqlite3_finalize(statement);
    return time;
}

static void encode_summary(struct text *text, sqlite3_stmt *at, const struct pruning *pruning)
{
    static const char *const numbers[] = { "mean", "minimum", "maximum", "largest_uncertainty" };
    text_open(text, '{');
    text_member_integer(text, "from_ns", pruning->from.ns);
    text_member_integer(text, "until_ns", pruning->until.ns);
    text_member_string(text, "unit", (const char *)sqlite3_column_text(at, 3));
    text_member_integer(text, "readings", sqlite3_column_int64(at, 4));
    text_member_integer(text, "failures", sqlite3_column_int64(at, 5));
    text_member_integer(text, "not_passed", sqlite3_column_int64(at, 6));
    for (int i = 0; i < 4; i++)
        if (sqlite3_column_type(at, 7 + i) != SQLITE_NULL)
            text_member_number(text, numbers[i], sqlite3_column_double(at, 7 + i));
    text_close(text, '}');
}

static bool write_summary(struct pruning *pruning, sqlite3_stmt *at)
{
    struct text text = { 0 };
    uint8_t digest[CHAIN_SIZE];
    encode_summary(&text, at, pruning);
    struct store_event event = { .time = pruning->time,
                                 .at = pruning->now,
                                 .kind = EVENT_TEXT_SUMMARY,
                                 .subject = (const char *)sqlite3_column_text(at, 0),
                                 .first = sqlite3_column_int64(at, 1),
                                 .last = sqlite3_column_int64(at, 2),
                                 .body = text.bytes };
    bool written = !text.failed && store_db_event(pruning->db, &event, digest);
    text_free(&text);
    return written;
}

/* One summary for each point and unit of what goes. */
static bool summarise(struct pruning *pruning)
{
    sqlite3_stmt *at = prepared(
        pruning->db,
        "SELECT point, min(id), max(id), unit, count(value), count(reason),"
        " sum(coalesce(verdict NOT IN ('pass', 'none'), 0)), avg(value), min(value), max(value),"
        " max(uncertainty) " STORE_OLD_READINGS " GROUP BY point, unit ORDER BY point, unit",
        pruning->until.ns);
    bool written = at != NULL;
    int code = SQLITE_DONE;
    while (written && (code = sqlite3_step(at)) == SQLITE_ROW)
        written = write_summary(pruning, at);
    return sqlite3_finalize(at) == SQLITE_OK && written && code == SQLITE_DONE;
}

static bool delete_ids(struct store_db *db, const char *sql, int64_t first, int64_t last)
{
    sqlite3_stmt *statement = prepared(db, sql, first);
    sqlite3_bind_int64(statement, 2, last);
    sqlite3_step(statement);
    return sqlite3_finalize(statement) == SQLITE_OK;
}

/* Removes the rows of one stretch and signs that off. */
static bool remove_stretch(struct pruning *pruning, int64_t first, int64_t last,
                           const uint8_t after[CHAIN_SIZE])
{
    uint8_t digest[CHAIN_SIZE];
    struct store_event event = { .time = pruning->time,
                                 .at = pruning->now,
                                 .kind = EVENT_TEXT_PRUNED,
                                 .first = first,
                                 .last = last,
                                 .after = after };
    pruning->removed += (uint64_t)(last - first + 1);
    return delete_ids(pruning->db, "DELETE FROM readings WHERE id BETWEEN ?1 AND ?2", first,
                      last) &&
           delete_ids(pruning->db, "DELETE FROM events WHERE id BETWEEN ?1 AND ?2", first, last) &&
           store_db_event(pruning->db, &event, digest);
}

/* Removes the rows that a statement finds, ids ascending, with their digests. */
static bool remove_found(struct pruning *pruning, sqlite3_stmt *found)
{
    int64_t first = 0;
    int64_t last = 0;
    uint8_t after[CHAIN_SIZE];
    bool removed = found != NULL;
    int code = SQLITE_DONE;
    while (removed && (code = sqlite3_step(found)) == SQLITE_ROW) {
        int64_t id = sqlite3_column_int64(found, 0);
        if (first != 0 && id != last + 1) {
            removed = remove_stretch(pruning, first, last, after);
            first = 0;
        }
        first = first == 0 ? id : first;
        last = id;
        const void *digest = sqlite3_column_blob(found, 1);
        if (digest == NULL || sqlite3_column_bytes(found, 1) != CHAIN_SIZE)
            removed = false;
        else
            memcpy(after, digest, CHAIN_SIZE);
    }
    if (removed && first != 0)
        removed = remove_stretch(pruning, first, last, after);
    return sqlite3_finalize(found) == SQLITE_OK && removed && code == SQLITE_DONE;
}

/*
 * What goes is listed first: rows must not vanish under the statement that
 * finds them.
 */
static bool list(struct pruning *pruning, const char *sql)
{
    sqlite3_stmt *statement = prepared(pruning->db, sql, pruning->until.ns);
    sqlite3_step(statement);
    return sqlite3_finalize(statement) == SQLITE_OK;
}

static bool remove_listed(struct pruning *pruning)
{
    return remove_found(pruning, prepared(pruning->db,
                                          "SELECT id, digest FROM temp.going WHERE ?1 = ?1"
                                          " ORDER BY id",
                                          0)) &&
           list(pruning, "DELETE FROM temp.going WHERE ?1 = ?1");
}

static bool prune_readings(struct pruning *pruning, double summary_s)
{
    if (summary_s > 0)
        return summarise(pruning) &&
               list(pruning, "INSERT INTO temp.going SELECT id, digest " STORE_OLD_READINGS) &&
               remove_listed(pruning);
    return list(pruning, "INSERT INTO temp.going SELECT id, digest " STORE_OLD_READINGS
                         " ORDER BY id LIMIT " STEP) &&
           remove_listed(pruning);
}

static bool prune_summaries(struct pruning *pruning)
{
    return list(pruning, "INSERT INTO temp.going SELECT id, digest FROM events"
                         " WHERE kind = '" EVENT_TEXT_SUMMARY
                         "' AND time_ns < ?1 ORDER BY id LIMIT " STEP) &&
           remove_listed(pruning);
}

/* Before which readings go in this step; WALL_TIME_FIRST: none do. */
static struct wall_time readings_until(struct pruning *pruning, const struct bench_store *settings)
{
    double days = settings->keep_all_days > 0 ? settings->keep_all_days : settings->retention_days;
    if (days <= 0)
        return WALL_TIME_FIRST;
    struct wall_time cutoff =
        wall_time_plus(pruning->now, duration_of_seconds(-days * STORE_DAY_S));
    struct duration interval = duration_of_seconds(settings->summary_s);
    if (interval.ns == 0)
        return cutoff;
    cutoff.ns -= cutoff.ns % interval.ns; /* an interval goes as a whole */
    struct wall_time first = oldest(pruning->db, cutoff);
    if (!wall_time_before(first, cutoff))
        return WALL_TIME_FIRST;
    pruning->from.ns = first.ns - first.ns % interval.ns;
    return wall_time_plus(pruning->from, interval);
}

static bool prune(struct pruning *pruning, const struct bench_store *settings)
{
    struct wall_time until = readings_until(pruning, settings);
    bool pruned = true;
    if (wall_time_before(WALL_TIME_FIRST, until)) {
        pruning->until = until;
        pruned = prune_readings(pruning, settings->summary_s);
    }
    if (pruned && settings->retention_days > 0) {
        pruning->until = wall_time_plus(
            pruning->now, duration_of_seconds(-settings->retention_days * STORE_DAY_S));
        pruned = prune_summaries(pruning);
    }
    return pruned;
}

enum store_state store_prune(struct store_db *db, const struct bench_store *settings,
                             struct wall_time now, uint64_t *removed, bool *more,
                             struct failure *failure)
{
    struct pruning pruning = { .db = db, .now = now };
    encode_time(pruning.time, now);
    if (settings->keep_all_days <= 0 && settings->retention_days <= 0)
        return STORE_WELL;
    sqlite3_exec(db->sqlite,
                 "CREATE TEMP TABLE IF NOT EXISTS going (id INTEGER PRIMARY KEY, digest BLOB)",
                 NULL, NULL, NULL);
    if (!store_db_begin(db) || !prune(&pruning, settings) || !store_db_commit(db))
        return store_db_abandon(db, failure);
    *removed += pruning.removed;
    *more = pruning.removed > 0;
    return STORE_WELL;
}
