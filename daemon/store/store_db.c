/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "store_db_priv.h"

#include <errno.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

static const char *const sql[STATEMENT_COUNT] = {
    [STATEMENT_BEGIN] = "BEGIN IMMEDIATE",
    [STATEMENT_COMMIT] = "COMMIT",
    [STATEMENT_ROLLBACK] = "ROLLBACK",
    [STATEMENT_HEAD] = "SELECT last, digest FROM head",
    [STATEMENT_SET_HEAD] = "UPDATE head SET last = ?, digest = ?",
    [STATEMENT_READING] = "INSERT INTO readings (id, point, time, time_ns, sequence, value,"
                          " uncertainty, unit, verdict, reason, run, round, body, settings,"
                          " instrument, version, digest, job, serial)"
                          " VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
    [STATEMENT_EVENT] = "INSERT INTO events (id, time, time_ns, kind, subject, first, last, after,"
                        " body, digest) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
    [STATEMENT_FIND_SETTINGS] = "SELECT id FROM settings WHERE digest = ?",
    [STATEMENT_ADD_SETTINGS] = "INSERT INTO settings (digest, text) VALUES (?, ?)",
    [STATEMENT_FIND_INSTRUMENT] = "SELECT id FROM instruments WHERE name = ? AND identity = ?"
                                  " AND calibration_due = ?",
    [STATEMENT_ADD_INSTRUMENT] = "INSERT INTO instruments (name, identity, calibration_due)"
                                 " VALUES (?, ?, ?)",
    [STATEMENT_FIND_VERSION] = "SELECT id FROM versions WHERE version = ?",
    [STATEMENT_ADD_VERSION] = "INSERT INTO versions (version) VALUES (?)",
};

const char *store_state_name(enum store_state state)
{
    static const char *const names[] = {
        [STORE_WELL] = "well",           [STORE_LOCKED] = "locked",   [STORE_FULL] = "full",
        [STORE_READ_ONLY] = "read-only", [STORE_DAMAGED] = "damaged", [STORE_GONE] = "gone",
        [STORE_FOREIGN] = "foreign",     [STORE_FAILING] = "failing",
    };
    return names[state];
}

/*
 * An error of the disk tells by errno what is the matter. SQLite does not
 * keep that of a commit; then it is what the system call left behind, or a
 * mere name is wrong.
 */
static enum store_state state_of_errno(int kept)
{
    switch (kept != 0 ? kept : errno) {
    case ENOSPC:
    case EDQUOT:
    case EFBIG:
        return STORE_FULL;
    case EROFS:
    case EACCES:
    case EPERM:
        return STORE_READ_ONLY;
    default:
        return STORE_FAILING;
    }
}

enum store_state store_state_of(sqlite3 *sqlite, int code)
{
    switch (code & 0xff) {
    case SQLITE_OK:
    case SQLITE_ROW:
    case SQLITE_DONE:
        return STORE_WELL;
    case SQLITE_BUSY:
    case SQLITE_LOCKED:
        return STORE_LOCKED;
    case SQLITE_FULL:
        return STORE_FULL;
    case SQLITE_READONLY:
    case SQLITE_PERM:
    case SQLITE_AUTH:
    case SQLITE_CANTOPEN:
        return STORE_READ_ONLY;
    case SQLITE_CORRUPT:
    case SQLITE_NOTADB:
        return STORE_DAMAGED;
    case SQLITE_IOERR:
        return state_of_errno(sqlite3_system_errno(sqlite));
    default:
        return STORE_FAILING;
    }
}

enum store_state store_db_fail(sqlite3 *sqlite, int code, struct failure *failure)
{
    enum store_state state = store_state_of(sqlite, code);
    const char *file = sqlite3_db_filename(sqlite, "main");
    failure_set(failure, FAILURE_SYSTEM, file, NULL, "the database is %s: %s",
                store_state_name(state), sqlite3_errmsg(sqlite));
    return state;
}

static sqlite3_stmt *prepared(struct store_db *db, enum store_statement which)
{
    sqlite3_stmt **statement = &db->statements[which];
    if (*statement == NULL)
        sqlite3_prepare_v3(db->sqlite, sql[which], -1, SQLITE_PREPARE_PERSISTENT, statement, NULL);
    return *statement;
}

/* Carries out a statement that answers nothing. */
static bool carry_out(sqlite3_stmt *statement)
{
    int code = sqlite3_step(statement);
    return sqlite3_reset(statement) == SQLITE_OK && code == SQLITE_DONE;
}

static bool run_statement(struct store_db *db, enum store_statement which)
{
    sqlite3_stmt *statement = prepared(db, which);
    return statement != NULL && carry_out(statement);
}

static bool read_head(struct store_db *db)
{
    sqlite3_stmt *statement = prepared(db, STATEMENT_HEAD);
    bool found = statement != NULL && sqlite3_step(statement) == SQLITE_ROW &&
                 sqlite3_column_bytes(statement, 1) == CHAIN_SIZE;
    if (found) {
        db->last = sqlite3_column_int64(statement, 0);
        memcpy(db->digest, sqlite3_column_blob(statement, 1), CHAIN_SIZE);
    }
    return sqlite3_reset(statement) == SQLITE_OK && found;
}

bool store_db_begin(struct store_db *db)
{
    errno = 0;
    return run_statement(db, STATEMENT_BEGIN) && read_head(db);
}

bool store_db_commit(struct store_db *db)
{
    sqlite3_stmt *statement = prepared(db, STATEMENT_SET_HEAD);
    if (statement == NULL)
        return false;
    sqlite3_bind_int64(statement, 1, db->last);
    sqlite3_bind_blob(statement, 2, db->digest, CHAIN_SIZE, SQLITE_STATIC);
    if (!carry_out(statement) || !run_statement(db, STATEMENT_COMMIT))
        return false;
    db->durable.id = db->last;
    memcpy(db->durable.digest, db->digest, CHAIN_SIZE);
    return true;
}

enum store_state store_db_abandon(struct store_db *db, struct failure *failure)
{
    int code = sqlite3_extended_errcode(db->sqlite);
    enum store_state state = store_db_fail(db->sqlite, code, failure);
    if (sqlite3_get_autocommit(db->sqlite) == 0)
        run_statement(db, STATEMENT_ROLLBACK);
    db->settings.digest[0] = '\0';
    db->instrument.name[0] = '\0';
    db->version = 0;
    return state == STORE_WELL ? STORE_FAILING : state;
}

static void bind_text(sqlite3_stmt *statement, int place, const char *text)
{
    sqlite3_bind_text(statement, place, text, -1, SQLITE_STATIC);
}

/* Finds the row of up to three texts, or adds it, with `more` behind them where it is not NULL. */
static int64_t refer(struct store_db *db, enum store_statement find, enum store_statement add,
                     const char *const *texts, int count, const char *more)
{
    sqlite3_stmt *finding = prepared(db, find);
    sqlite3_stmt *adding = prepared(db, add);
    if (finding == NULL || adding == NULL)
        return 0;
    for (int i = 0; i < count; i++) {
        bind_text(finding, i + 1, texts[i]);
        bind_text(adding, i + 1, texts[i]);
    }
    if (more != NULL)
        bind_text(adding, count + 1, more);
    int64_t id = sqlite3_step(finding) == SQLITE_ROW ? sqlite3_column_int64(finding, 0) : 0;
    if (sqlite3_reset(finding) != SQLITE_OK || (id == 0 && !carry_out(adding)))
        return 0;
    return id != 0 ? id : sqlite3_last_insert_rowid(db->sqlite);
}

static bool refer_to_settings(struct store_db *db, const struct bench *bench)
{
    if (strcmp(db->settings.digest, bench->digest) == 0)
        return true;
    const char *const texts[] = { bench->digest };
    db->settings.id =
        refer(db, STATEMENT_FIND_SETTINGS, STATEMENT_ADD_SETTINGS, texts, 1, bench->text);
    if (db->settings.id != 0)
        memcpy(db->settings.digest, bench->digest, sizeof db->settings.digest);
    return db->settings.id != 0;
}

static bool refer_to_instrument(struct store_db *db, const struct record *record)
{
    if (strcmp(db->instrument.name, record->instrument) == 0 &&
        strcmp(db->instrument.identity, record->identity) == 0 &&
        strcmp(db->instrument.calibration_due, record->calibration_due) == 0)
        return true;
    const char *const texts[] = { record->instrument, record->identity, record->calibration_due };
    db->instrument.id =
        refer(db, STATEMENT_FIND_INSTRUMENT, STATEMENT_ADD_INSTRUMENT, texts, 3, NULL);
    if (db->instrument.id == 0)
        return false;
    memcpy(db->instrument.name, record->instrument, sizeof db->instrument.name);
    memcpy(db->instrument.identity, record->identity, sizeof db->instrument.identity);
    memcpy(db->instrument.calibration_due, record->calibration_due,
           sizeof db->instrument.calibration_due);
    return true;
}

static bool refer_to_version(struct store_db *db)
{
    const char *const texts[] = { GRADUS_VERSION };
    if (db->version == 0)
        db->version = refer(db, STATEMENT_FIND_VERSION, STATEMENT_ADD_VERSION, texts, 1, NULL);
    return db->version != 0;
}

static const char *text_or_null(const char *text)
{
    return text[0] != '\0' ? text : NULL;
}

static struct store_row row_of(const struct record *record, int64_t id)
{
    return (struct store_row) { .id = id,
                                .point = record->point,
                                .time = record->time,
                                .at = record->at,
                                .sequence = record->sequence,
                                .value = record->value,
                                .uncertainty = record->uncertainty,
                                .unit = text_or_null(record->unit),
                                .verdict = record->verdict,
                                .reason = record->reason,
                                .run = text_or_null(record->run),
                                .round = record->round,
                                .body = record->body.bytes,
                                .settings_digest = record->bench->digest,
                                .instrument = record->instrument,
                                .identity = record->identity,
                                .calibration_due = record->calibration_due,
                                .version = GRADUS_VERSION };
}

/* NAN becomes NULL in the database by itself. */
static void bind_row(sqlite3_stmt *statement, const struct store_row *row)
{
    sqlite3_bind_int64(statement, 1, row->id);
    bind_text(statement, 2, row->point);
    bind_text(statement, 3, row->time);
    sqlite3_bind_int64(statement, 4, row->at.ns);
    sqlite3_bind_int64(statement, 5, row->sequence);
    sqlite3_bind_double(statement, 6, row->value);
    sqlite3_bind_double(statement, 7, row->uncertainty);
    bind_text(statement, 8, row->unit);
    bind_text(statement, 9, row->verdict);
    bind_text(statement, 10, row->reason);
    bind_text(statement, 11, row->run);
    sqlite3_bind_int64(statement, 12, row->round);
    bind_text(statement, 13, row->body);
}

/* Takes what was appended into the head of the chain. */
static bool advance(struct store_db *db, int64_t id, const uint8_t digest[CHAIN_SIZE])
{
    db->last = id;
    memcpy(db->digest, digest, CHAIN_SIZE);
    return true;
}

static bool write_reading(struct store_db *db, struct record *record)
{
    sqlite3_stmt *statement = prepared(db, STATEMENT_READING);
    const struct store_row row = row_of(record, db->last + 1);
    if (statement == NULL || !refer_to_settings(db, record->bench) ||
        !refer_to_instrument(db, record) || !refer_to_version(db))
        return false;
    record->id = row.id;
    store_row_digest(&row, db->digest, record->digest);
    bind_row(statement, &row);
    sqlite3_bind_int64(statement, 14, db->settings.id);
    sqlite3_bind_int64(statement, 15, db->instrument.id);
    sqlite3_bind_int64(statement, 16, db->version);
    sqlite3_bind_blob(statement, 17, record->digest, CHAIN_SIZE, SQLITE_STATIC);
    bind_text(statement, 18, text_or_null(record->job));
    bind_text(statement, 19, text_or_null(record->serial));
    return carry_out(statement) && advance(db, record->id, record->digest);
}

bool store_db_event(struct store_db *db, struct store_event *event, uint8_t digest[CHAIN_SIZE])
{
    sqlite3_stmt *statement = prepared(db, STATEMENT_EVENT);
    if (statement == NULL)
        return false;
    event->id = db->last + 1;
    store_event_digest(event, db->digest, digest);
    sqlite3_bind_int64(statement, 1, event->id);
    bind_text(statement, 2, event->time);
    sqlite3_bind_int64(statement, 3, event->at.ns);
    bind_text(statement, 4, event->kind);
    bind_text(statement, 5, event->subject);
    sqlite3_bind_int64(statement, 6, event->first);
    sqlite3_bind_int64(statement, 7, event->last);
    sqlite3_bind_blob(statement, 8, event->after, CHAIN_SIZE, SQLITE_STATIC);
    bind_text(statement, 9, event->body);
    sqlite3_bind_blob(statement, 10, digest, CHAIN_SIZE, SQLITE_STATIC);
    return carry_out(statement) && advance(db, event->id, digest);
}

static bool write_record(struct store_db *db, struct record *record)
{
    if (record->bench != NULL)
        return write_reading(db, record);
    struct store_event event = { .time = record->time,
                                 .at = record->at,
                                 .kind = record->kind,
                                 .subject = record->run,
                                 .body = record->body.bytes };
    bool written = store_db_event(db, &event, record->digest);
    record->id = event.id;
    return written;
}

/*
 * How many of the records are there already. A commit that failed on the way
 * to the disk may have arrived all the same, and come to light when the file
 * was opened again: then the head of the chain is one of them.
 */
static size_t already_written(const struct store_db *db, const struct record *record, size_t count)
{
    for (size_t i = 0; i < count; i++, record = record->next)
        if (record->id == db->last && record->id != 0 &&
            memcmp(record->digest, db->digest, CHAIN_SIZE) == 0)
            return i + 1;
    return 0;
}

static bool write_all(struct store_db *db, struct record *record, size_t count)
{
    size_t written = already_written(db, record, count);
    for (size_t i = 0; i < count; i++, record = record->next)
        if (i >= written && !write_record(db, record))
            return false;
    return true;
}

/* A file that was unlinked would take the rows and lose them when it is closed. */
static bool has_gone(struct store_db *db, struct failure *failure)
{
    int moved = 0;
    sqlite3_file_control(db->sqlite, "main", SQLITE_FCNTL_HAS_MOVED, &moved);
    if (moved != 0)
        failure_set(failure, FAILURE_SYSTEM, sqlite3_db_filename(db->sqlite, "main"), NULL,
                    "the database was removed or replaced");
    return moved != 0;
}

enum store_state store_db_write(struct store_db *db, struct record *first, size_t count,
                                struct failure *failure)
{
    if (has_gone(db, failure))
        return STORE_GONE;
    if (store_db_begin(db) && write_all(db, first, count) && store_db_commit(db))
        return STORE_WELL;
    return store_db_abandon(db, failure);
}

void store_db_leave(struct store_db *db)
{
    if (db != NULL)
        sqlite3_db_config(db->sqlite, SQLITE_DBCONFIG_NO_CKPT_ON_CLOSE, 1, NULL);
    store_db_close(db);
}

void store_db_close(struct store_db *db)
{
    if (db == NULL)
        return;
    for (size_t i = 0; i < STATEMENT_COUNT; i++)
        sqlite3_finalize(db->statements[i]);
    sqlite3_close(db->sqlite);
    free(db);
}
