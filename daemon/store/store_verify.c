/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "store_verify.h"

#include "drivers/basics/digest.h"
#include "event_kinds.h"
#include "store_read.h"

#include <inttypes.h>
#include <stdio.h>
#include <string.h>

enum { PATH_SIZE = 640 };

/* Both kinds of rows from where the walk stands, each in the order of their ids. */
struct walkers {
    sqlite3 *sqlite;
    sqlite3_stmt *readings;
    sqlite3_stmt *events;
    int reading_code; /* what their last step answered */
    int event_code;
};

/* Something does not fit; the first such thing is told. */
static void note(struct store_verify *verify, int64_t id, const char *what)
{
    if (verify->what[0] != '\0')
        return;
    verify->first_bad = id;
    snprintf(verify->what, sizeof verify->what, "%s", what);
}

/* As note(), and nothing behind it can be told. */
static void bad(struct store_verify *verify, int64_t id, const char *what)
{
    verify->ended = true;
    note(verify, id, what);
}

static const char *anchors_of(sqlite3 *sqlite, char path[PATH_SIZE])
{
    return anchor_path(sqlite3_db_filename(sqlite, "main"), path, PATH_SIZE);
}

static bool prepare_walkers(struct walkers *walkers, int64_t last)
{
    walkers->readings =
        store_read_rows(walkers->sqlite, "WHERE readings.id > ? ORDER BY readings.id");
    if (walkers->readings == NULL ||
        sqlite3_prepare_v2(walkers->sqlite,
                           "SELECT id, time, time_ns, kind, subject, first, last, after, body,"
                           " digest FROM events WHERE id > ? ORDER BY id",
                           -1, &walkers->events, NULL) != SQLITE_OK)
        return false;
    sqlite3_bind_int64(walkers->readings, 1, last);
    sqlite3_bind_int64(walkers->events, 1, last);
    walkers->reading_code = sqlite3_step(walkers->readings);
    walkers->event_code = sqlite3_step(walkers->events);
    return true;
}

static bool is_sound(int code)
{
    return code == SQLITE_ROW || code == SQLITE_DONE;
}

static int64_t next_id(sqlite3_stmt *statement, int code)
{
    return code == SQLITE_ROW ? sqlite3_column_int64(statement, 0) : INT64_MAX;
}

static void check(struct store_verify *verify, int64_t id, const uint8_t *digest,
                  const uint8_t expected[CHAIN_SIZE])
{
    if (digest == NULL || memcmp(digest, expected, CHAIN_SIZE) != 0) {
        bad(verify, id, "the row was altered");
        return;
    }
    const struct anchor *anchor = &verify->anchors.next;
    if (anchor->id == id && memcmp(digest, anchor->digest, CHAIN_SIZE) != 0) {
        char what[160];
        snprintf(what, sizeof what, "the row is not the one that was there at %s", anchor->time);
        bad(verify, id, what);
        return;
    }
    verify->last = id;
    memcpy(verify->digest, digest, CHAIN_SIZE);
}

static void walk_reading(struct store_verify *verify, struct walkers *walkers)
{
    struct store_row row;
    uint8_t expected[CHAIN_SIZE];
    const uint8_t *digest = store_read_row(walkers->readings, &row);
    store_row_digest(&row, verify->digest, expected);
    check(verify, row.id, digest, expected);
    verify->readings += verify->ended ? 0 : 1;
    walkers->reading_code = sqlite3_step(walkers->readings);
}

static const void *blob_at(sqlite3_stmt *statement, int column)
{
    return sqlite3_column_bytes(statement, column) == CHAIN_SIZE
               ? sqlite3_column_blob(statement, column)
               : NULL;
}

static void walk_event(struct store_verify *verify, struct walkers *walkers)
{
    sqlite3_stmt *at = walkers->events;
    uint8_t expected[CHAIN_SIZE];
    const struct store_event event = { .id = sqlite3_column_int64(at, 0),
                                       .time = (const char *)sqlite3_column_text(at, 1),
                                       .at = { sqlite3_column_int64(at, 2) },
                                       .kind = (const char *)sqlite3_column_text(at, 3),
                                       .subject = (const char *)sqlite3_column_text(at, 4),
                                       .first = sqlite3_column_int64(at, 5),
                                       .last = sqlite3_column_int64(at, 6),
                                       .after = blob_at(at, 7),
                                       .body = (const char *)sqlite3_column_text(at, 8) };
    store_event_digest(&event, verify->digest, expected);
    check(verify, event.id, blob_at(at, 9), expected);
    verify->events += verify->ended ? 0 : 1;
    if (!verify->ended && strcmp(event.kind, EVENT_TEXT_DIFFERS) == 0)
        note(verify, event.first, "the row was found to be another one than had been there");
    walkers->event_code = sqlite3_step(at);
}

/* Rows that were found to be missing: what is behind them follows from what is before. */
static void walk_missing(struct store_verify *verify, int64_t last, const char *time)
{
    char what[160];
    snprintf(what, sizeof what,
             "rows %" PRId64 " to %" PRId64 " are missing since %.40s: cut off, or the database "
             "was emptied or an older copy",
             verify->last + 1, last, time != NULL ? time : "");
    note(verify, verify->last + 1, what);
    verify->missing += (uint64_t)(last - verify->last);
    verify->last = last;
}

/* The next row is not there: it must have been removed by a removal that says so, or found missing. */
static void walk_gap(struct store_verify *verify, sqlite3 *sqlite)
{
    static const char sql[] =
        "SELECT last, after, kind = '" EVENT_TEXT_MISSING "', time FROM events"
        " WHERE kind IN ('" EVENT_TEXT_PRUNED "', '" EVENT_TEXT_MISSING
        "') AND first = ? AND last >= first";
    sqlite3_stmt *statement = NULL;
    sqlite3_prepare_v2(sqlite, sql, -1, &statement, NULL);
    sqlite3_bind_int64(statement, 1, verify->last + 1);
    const uint8_t *after = NULL;
    bool missing = false;
    if (sqlite3_step(statement) == SQLITE_ROW) {
        after = blob_at(statement, 1);
        missing = sqlite3_column_int(statement, 2) != 0;
    }
    if (missing) {
        walk_missing(verify, sqlite3_column_int64(statement, 0),
                     (const char *)sqlite3_column_text(statement, 3));
    } else if (after == NULL) {
        bad(verify, verify->last + 1, "the row is missing");
    } else {
        int64_t last = sqlite3_column_int64(statement, 0);
        verify->removed += (uint64_t)(last - verify->last);
        verify->last = last;
        memcpy(verify->digest, after, CHAIN_SIZE);
    }
    sqlite3_finalize(statement);
}

/* The anchors know of more rows. */
static void walk_cut(struct store_verify *verify, int64_t head)
{
    char what[160];
    const struct anchor *anchor = &verify->anchors.last;
    snprintf(what, sizeof what, "rows up to %" PRId64 " were there at %s and are missing",
             anchor->id, anchor->time);
    bad(verify, head + 1, what);
}

/* After the last row: is it the one the head names? */
static void walk_end(struct store_verify *verify, sqlite3 *sqlite, int64_t head,
                     const uint8_t *digest)
{
    if (verify->last < head)
        walk_gap(verify, sqlite);
    else if (verify->last > head)
        bad(verify, verify->last, "the row is beyond the last one written");
    else if (digest == NULL || memcmp(digest, verify->digest, CHAIN_SIZE) != 0)
        bad(verify, head, "the row is not the last one written");
    else if (verify->anchors.next.id > head)
        walk_cut(verify, head);
    else
        verify->ended = true;
}

static void walk_step(struct store_verify *verify, struct walkers *walkers, sqlite3_stmt *head)
{
    int64_t reading = next_id(walkers->readings, walkers->reading_code);
    int64_t event = next_id(walkers->events, walkers->event_code);
    int64_t next = verify->last + 1;
    char path[PATH_SIZE];
    anchor_walk_to(&verify->anchors, anchors_of(walkers->sqlite, path), verify->last);
    if (reading == next)
        walk_reading(verify, walkers);
    else if (event == next)
        walk_event(verify, walkers);
    else if (reading == INT64_MAX && event == INT64_MAX)
        walk_end(verify, walkers->sqlite, sqlite3_column_int64(head, 0), blob_at(head, 1));
    else if (reading < next || event < next)
        bad(verify, reading < event ? reading : event, "the row is there although it was removed");
    else
        walk_gap(verify, walkers->sqlite);
}

/* Settings are written once for many readings: each text must be the one of its digest. */
static bool check_settings(struct store_verify *verify, sqlite3 *sqlite)
{
    sqlite3_stmt *statement = NULL;
    char digest[DIGEST_SIZE];
    int code;
    if (sqlite3_prepare_v2(sqlite, "SELECT digest, text FROM settings", -1, &statement, NULL) !=
        SQLITE_OK)
        return false;
    while ((code = sqlite3_step(statement)) == SQLITE_ROW) {
        const char *expected = (const char *)sqlite3_column_text(statement, 0);
        const void *text = sqlite3_column_text(statement, 1);
        digest_bytes(text, (size_t)sqlite3_column_bytes(statement, 1), digest);
        if (expected == NULL || strcmp(expected, digest) != 0) {
            char what[120];
            snprintf(what, sizeof what, "the settings with digest %.64s were altered",
                     expected != NULL ? expected : "");
            bad(verify, 0, what);
        }
    }
    return sqlite3_finalize(statement) == SQLITE_OK && code == SQLITE_DONE;
}

static bool begin(struct store_verify *verify, sqlite3 *sqlite)
{
    if (verify->begun)
        return true;
    verify->begun = true;
    if (verify->anchors.wrong != 0) {
        char what[120];
        snprintf(what, sizeof what, "line %" PRIu64 " of the anchors was not written with the key",
                 verify->anchors.wrong);
        note(verify, 0, what);
    }
    if (!store_read_before(sqlite, 1, verify->digest))
        bad(verify, 0, "the head of the store is missing");
    return check_settings(verify, sqlite);
}

static bool walk(struct store_verify *verify, struct walkers *walkers, size_t rows)
{
    sqlite3_stmt *head = NULL;
    bool sound = begin(verify, walkers->sqlite) && prepare_walkers(walkers, verify->last) &&
                 sqlite3_prepare_v2(walkers->sqlite, "SELECT last, digest FROM head", -1, &head,
                                    NULL) == SQLITE_OK &&
                 sqlite3_step(head) == SQLITE_ROW;
    for (size_t i = 0; i < rows && sound && !verify->ended; i++) {
        sound = is_sound(walkers->reading_code) && is_sound(walkers->event_code);
        if (sound)
            walk_step(verify, walkers, head);
    }
    sqlite3_finalize(head);
    return sound;
}

bool store_verify_walk(struct store_verify *verify, sqlite3 *sqlite, size_t rows,
                       struct failure *failure)
{
    static const struct anchor_key none = { 0 };
    struct walkers walkers = { .sqlite = sqlite };
    char path[PATH_SIZE];
    anchor_walk_begin(&verify->anchors, anchors_of(sqlite, path));
    if (!anchor_walk_ready(&verify->anchors, path, verify->key != NULL ? verify->key : &none))
        return true;
    bool sound = walk(verify, &walkers, rows);
    if (!sound)
        store_read_fail(sqlite, failure);
    sqlite3_finalize(walkers.readings);
    sqlite3_finalize(walkers.events);
    return sound;
}
