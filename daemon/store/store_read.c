/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "store_read.h"

#include "daemon/basics/json_text.h"
#include "event_kinds.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* Another process may hold the database for the moment of its recovery only. */
enum { PATIENCE_MS = 1000 };

static const char columns[] =
    "SELECT readings.id, point, time, time_ns, sequence, value, uncertainty, unit, verdict, reason,"
    " run, round, body, settings.digest, instruments.name, identity, calibration_due,"
    " versions.version, readings.digest FROM readings"
    " LEFT JOIN settings ON settings.id = settings"
    " LEFT JOIN instruments ON instruments.id = instrument"
    " LEFT JOIN versions ON versions.id = readings.version ";

sqlite3_stmt *store_read_rows(sqlite3 *sqlite, const char *where)
{
    sqlite3_stmt *statement = NULL;
    struct text sql = { 0 };
    text_raw(&sql, columns, sizeof columns - 1);
    text_raw(&sql, where, strlen(where));
    if (!sql.failed)
        sqlite3_prepare_v2(sqlite, sql.bytes, -1, &statement, NULL);
    text_free(&sql);
    return statement;
}

sqlite3_stmt *store_read_about(sqlite3 *sqlite, const char *sql, const char *first,
                               const char *second)
{
    sqlite3_stmt *statement = NULL;
    sqlite3_prepare_v2(sqlite, sql, -1, &statement, NULL);
    if (first != NULL)
        sqlite3_bind_text(statement, 1, first, -1, SQLITE_STATIC);
    if (second != NULL)
        sqlite3_bind_text(statement, 2, second, -1, SQLITE_STATIC);
    return statement;
}

const char *store_read_text(sqlite3_stmt *statement, int column)
{
    const char *text = (const char *)sqlite3_column_text(statement, column);
    return text != NULL ? text : "";
}

bool store_read_fail(sqlite3 *sqlite, struct failure *failure)
{
    return failure_set(failure, FAILURE_SYSTEM, sqlite3_db_filename(sqlite, "main"), NULL,
                       "the store cannot be read: %s", sqlite3_errmsg(sqlite));
}

sqlite3 *store_read_open(const char *path, struct failure *failure)
{
    sqlite3 *sqlite = NULL;
    int flags = SQLITE_OPEN_READONLY | SQLITE_OPEN_NOMUTEX;
    if (sqlite3_open_v2(path, &sqlite, flags, NULL) == SQLITE_OK) {
        sqlite3_extended_result_codes(sqlite, 1);
        sqlite3_busy_timeout(sqlite, PATIENCE_MS);
        sqlite3_wal_autocheckpoint(sqlite, 0);
        return sqlite;
    }
    store_read_fail(sqlite, failure);
    sqlite3_close(sqlite);
    return NULL;
}

static const char *text_at(sqlite3_stmt *statement, int column)
{
    return (const char *)sqlite3_column_text(statement, column);
}

static double real_at(sqlite3_stmt *statement, int column)
{
    return sqlite3_column_type(statement, column) == SQLITE_NULL
               ? (double)NAN
               : sqlite3_column_double(statement, column);
}

const uint8_t *store_read_row(sqlite3_stmt *statement, struct store_row *row)
{
    *row = (struct store_row) { .id = sqlite3_column_int64(statement, 0),
                                .point = text_at(statement, 1),
                                .time = text_at(statement, 2),
                                .at = { sqlite3_column_int64(statement, 3) },
                                .sequence = sqlite3_column_int64(statement, 4),
                                .value = real_at(statement, 5),
                                .uncertainty = real_at(statement, 6),
                                .unit = text_at(statement, 7),
                                .verdict = text_at(statement, 8),
                                .reason = text_at(statement, 9),
                                .run = text_at(statement, 10),
                                .round = sqlite3_column_int64(statement, 11),
                                .body = text_at(statement, 12),
                                .settings_digest = text_at(statement, 13),
                                .instrument = text_at(statement, 14),
                                .identity = text_at(statement, 15),
                                .calibration_due = text_at(statement, 16),
                                .version = text_at(statement, 17) };
    return sqlite3_column_bytes(statement, 18) == CHAIN_SIZE ? sqlite3_column_blob(statement, 18)
                                                             : NULL;
}

/* The digest that a statement with one parameter finds for id. */
static bool find_digest(sqlite3 *sqlite, const char *sql, int64_t id, uint8_t digest[CHAIN_SIZE])
{
    sqlite3_stmt *statement = NULL;
    if (sqlite3_prepare_v2(sqlite, sql, -1, &statement, NULL) != SQLITE_OK)
        return false;
    sqlite3_bind_int64(statement, 1, id);
    bool found =
        sqlite3_step(statement) == SQLITE_ROW && sqlite3_column_bytes(statement, 0) == CHAIN_SIZE;
    if (found)
        memcpy(digest, sqlite3_column_blob(statement, 0), CHAIN_SIZE);
    sqlite3_finalize(statement);
    return found;
}

static bool read_origin(sqlite3 *sqlite, uint8_t digest[CHAIN_SIZE])
{
    sqlite3_stmt *statement = NULL;
    if (sqlite3_prepare_v2(sqlite, "SELECT began, follows FROM head", -1, &statement, NULL) !=
        SQLITE_OK)
        return false;
    bool found = sqlite3_step(statement) == SQLITE_ROW;
    if (found) {
        const struct store_origin origin = { text_at(statement, 0), text_at(statement, 1) };
        store_origin_digest(&origin, digest);
    }
    sqlite3_finalize(statement);
    return found;
}

bool store_read_before(sqlite3 *sqlite, int64_t id, uint8_t digest[CHAIN_SIZE])
{
    if (id == 1)
        return read_origin(sqlite, digest);
    return find_digest(sqlite, "SELECT digest FROM readings WHERE id = ?", id - 1, digest) ||
           find_digest(sqlite, "SELECT digest FROM events WHERE id = ?", id - 1, digest) ||
           find_digest(sqlite,
                       "SELECT after FROM events WHERE kind = '" EVENT_TEXT_PRUNED "' AND last = ?",
                       id - 1, digest);
}

bool store_read_is_intact(sqlite3 *sqlite, const struct store_row *row, const uint8_t *digest)
{
    uint8_t before[CHAIN_SIZE];
    uint8_t expected[CHAIN_SIZE];
    if (digest == NULL || row->body == NULL || !store_read_before(sqlite, row->id, before))
        return false;
    store_row_digest(row, before, expected);
    return memcmp(digest, expected, CHAIN_SIZE) == 0;
}
