/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "store_look.h"

#include "daemon/basics/json_text.h"
#include "store_read.h"

#include <string.h>

bool store_look_open(struct store_look *look, const char *path, struct failure *failure)
{
    look->sqlite = store_read_open(path, failure);
    if (look->sqlite == NULL)
        return false;
    if (sqlite3_exec(look->sqlite, "BEGIN", NULL, NULL, NULL) == SQLITE_OK)
        return true;
    store_look_fail(look, failure);
    sqlite3_close(look->sqlite);
    look->sqlite = NULL;
    return false;
}

void store_look_close(struct store_look *look)
{
    sqlite3_exec(look->sqlite, "COMMIT", NULL, NULL, NULL);
    sqlite3_close(look->sqlite);
    look->sqlite = NULL;
}

bool store_look_fail(const struct store_look *look, struct failure *failure)
{
    return store_read_fail(look->sqlite, failure);
}

bool store_look_damaged(const struct store_look *look)
{
    int code = sqlite3_errcode(look->sqlite) & 0xff;
    return code == SQLITE_CORRUPT || code == SQLITE_NOTADB;
}

/* Ends a walk whose last step had `code`: at its end, or left by whoever walked. */
static bool finish(const struct store_look *look, sqlite3_stmt *at, int code,
                   struct failure *failure)
{
    bool done = at != NULL && (code == SQLITE_DONE || code == SQLITE_ROW);
    if (!done)
        store_look_fail(look, failure);
    sqlite3_finalize(at);
    return done;
}

static int step(sqlite3_stmt *at)
{
    return at != NULL ? sqlite3_step(at) : SQLITE_ERROR;
}

struct store_rows store_rows_of_point(const struct store_look *look, const char *run,
                                      const char *point)
{
    struct store_rows rows = { look, NULL, SQLITE_ROW };
    rows.at = store_read_rows(look->sqlite, "WHERE run = ?1 AND point = ?2 ORDER BY readings.id");
    sqlite3_bind_text(rows.at, 1, run, -1, SQLITE_TRANSIENT);
    sqlite3_bind_text(rows.at, 2, point, -1, SQLITE_TRANSIENT);
    return rows;
}

struct store_rows store_rows_of_unit(const struct store_look *look, const char *point,
                                     const char *serial)
{
    struct store_rows rows = { look, NULL, SQLITE_ROW };
    rows.at = store_read_rows(look->sqlite, "WHERE serial = ?1 AND point = ?2 AND value IS NOT NULL"
                                            " AND json_extract(body, '$.job.stage') IS NOT 'before'"
                                            " ORDER BY readings.id DESC");
    sqlite3_bind_text(rows.at, 1, serial, -1, SQLITE_TRANSIENT);
    sqlite3_bind_text(rows.at, 2, point, -1, SQLITE_TRANSIENT);
    return rows;
}

struct store_rows store_rows_of_run(const struct store_look *look, const char *run, int64_t after)
{
    /* An index of runs would have them sorted first. */
    static const char sql[] =
        "SELECT id, point, time, time_ns, sequence, value, uncertainty, unit, verdict, reason,"
        " run, round, body, NULL, NULL, NULL, NULL, NULL, NULL FROM readings NOT INDEXED"
        " WHERE run = ?1 AND id > ?2 ORDER BY id";
    struct store_rows rows = { look, store_read_about(look->sqlite, sql, run, NULL), SQLITE_ROW };
    sqlite3_bind_int64(rows.at, 2, after);
    return rows;
}

bool store_rows_next(struct store_rows *rows, struct store_row *row)
{
    rows->code = step(rows->at);
    if (rows->code != SQLITE_ROW)
        return false;
    store_read_row(rows->at, row);
    return true;
}

bool store_rows_next_checked(struct store_rows *rows, struct store_row *row, bool *intact)
{
    rows->code = step(rows->at);
    if (rows->code != SQLITE_ROW)
        return false;
    const uint8_t *digest = store_read_row(rows->at, row);
    *intact = store_read_is_intact(rows->look->sqlite, row, digest);
    return true;
}

bool store_rows_end(struct store_rows *rows, struct failure *failure)
{
    bool done = finish(rows->look, rows->at, rows->code, failure);
    rows->at = NULL;
    return done;
}

bool store_rows_reference(const struct store_look *look, const char *point, int64_t id,
                          struct store_rows *rows, struct store_row *row, bool *intact)
{
    rows->look = look;
    rows->at =
        store_read_rows(look->sqlite, "WHERE point = ?1 AND value IS NOT NULL"
                                      " AND (?2 = 0 AND verdict = 'pass' OR readings.id = ?2)"
                                      " ORDER BY readings.id DESC LIMIT 1");
    sqlite3_bind_text(rows->at, 1, point, -1, SQLITE_TRANSIENT);
    sqlite3_bind_int64(rows->at, 2, id);
    return store_rows_next_checked(rows, row, intact);
}

int64_t store_last_round(const struct store_look *look, const char *run, const char *point)
{
    sqlite3_stmt *at = store_read_about(
        look->sqlite, "SELECT max(round) FROM readings WHERE run = ?1 AND point = ?2", run, point);
    int64_t round = sqlite3_step(at) == SQLITE_ROW ? sqlite3_column_int64(at, 0) : 0;
    sqlite3_finalize(at);
    return round;
}

static void write_sql(struct text *sql, const char *words)
{
    text_raw(sql, words, strlen(words));
}

/* The kinds as a list for SQL; the texts are our own and hold no quotes. */
static void write_kinds(struct text *sql, unsigned kinds)
{
    const char *before = " AND kind IN ('";
    for (unsigned kind = 0; kind < EVENT_KINDS; kind++) {
        if ((kinds & 1u << kind) == 0)
            continue;
        write_sql(sql, before);
        write_sql(sql, event_kind_text(kind));
        before = "', '";
    }
    write_sql(sql, "')");
}

struct store_events store_events_begin(const struct store_look *look,
                                       const struct event_filter *filter)
{
    struct store_events events = { look, NULL, SQLITE_ROW };
    const char *const texts[] = { filter->member, filter->value, filter->pick, filter->subject };
    struct text sql = { 0 };
    write_sql(&sql, "SELECT id, time, time_ns, kind, subject, ");
    write_sql(&sql, filter->pick != NULL ? "json_extract(body, ?3)" : "body");
    write_sql(&sql, " FROM events WHERE id > ?5");
    if (filter->kinds != 0)
        write_kinds(&sql, filter->kinds);
    if (filter->subject != NULL)
        write_sql(&sql, " AND subject = ?4");
    if (filter->value != NULL)
        write_sql(&sql, " AND json_extract(body, ?1) = ?2");
    write_sql(&sql, filter->newest_first ? " ORDER BY id DESC LIMIT ?6" : " ORDER BY id LIMIT ?6");
    if (!sql.failed)
        sqlite3_prepare_v2(look->sqlite, sql.bytes, -1, &events.at, NULL);
    text_free(&sql);
    for (int i = 0; i < 4; i++)
        if (texts[i] != NULL)
            sqlite3_bind_text(events.at, i + 1, texts[i], -1, SQLITE_TRANSIENT);
    sqlite3_bind_int64(events.at, 5, filter->after);
    sqlite3_bind_int64(events.at, 6, filter->limit != 0 ? (int64_t)filter->limit : -1);
    return events;
}

bool store_events_next(struct store_events *events, struct store_event *event)
{
    events->code = step(events->at);
    if (events->code != SQLITE_ROW)
        return false;
    *event = (struct store_event) { .id = sqlite3_column_int64(events->at, 0),
                                    .time = store_read_text(events->at, 1),
                                    .at = { sqlite3_column_int64(events->at, 2) },
                                    .kind = store_read_text(events->at, 3),
                                    .subject = store_read_text(events->at, 4),
                                    .body = store_read_text(events->at, 5) };
    return true;
}

bool store_events_end(struct store_events *events, struct failure *failure)
{
    bool done = finish(events->look, events->at, events->code, failure);
    events->at = NULL;
    return done;
}

bool store_was_pruned(const struct store_look *look, int64_t first, int64_t last)
{
    sqlite3_stmt *at =
        store_read_about(look->sqlite,
                         "SELECT EXISTS (SELECT 1 FROM events WHERE kind = '" EVENT_TEXT_PRUNED "'"
                         " AND last > ?1 AND first < ?2)",
                         NULL, NULL);
    sqlite3_bind_int64(at, 1, first);
    sqlite3_bind_int64(at, 2, last);
    bool pruned = sqlite3_step(at) == SQLITE_ROW && sqlite3_column_int(at, 0) != 0;
    sqlite3_finalize(at);
    return pruned;
}
