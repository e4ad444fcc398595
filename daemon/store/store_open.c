/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Opening the database of the store: is it ours, sound, and set to be durable? */
#include "store_db_priv.h"

#include "daemon/basics/wall_clock.h"

#include "store_row.h"

#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

/* The number that a statement answers; `missing` when it cannot be had. */
static int64_t number_of(sqlite3 *sqlite, const char *statement, int64_t missing)
{
    sqlite3_stmt *prepared = NULL;
    int64_t number = missing;
    if (sqlite3_prepare_v2(sqlite, statement, -1, &prepared, NULL) == SQLITE_OK &&
        sqlite3_step(prepared) == SQLITE_ROW)
        number = sqlite3_column_int64(prepared, 0);
    return sqlite3_finalize(prepared) == SQLITE_OK ? number : missing;
}

static bool execute(sqlite3 *sqlite, const char *statements)
{
    return sqlite3_exec(sqlite, statements, NULL, NULL, NULL) == SQLITE_OK;
}

/* Set explicitly and read back: what durability rests on is not left to how the library was built. */
static bool configure(sqlite3 *sqlite)
{
    sqlite3_busy_timeout(sqlite, 0);
    sqlite3_db_config(sqlite, SQLITE_DBCONFIG_DEFENSIVE, 1, NULL);
    return execute(sqlite, "PRAGMA journal_mode = WAL; PRAGMA synchronous = FULL;"
                           "PRAGMA wal_autocheckpoint = 1000; PRAGMA cell_size_check = ON;"
                           "PRAGMA journal_size_limit = 67108864;"
                           "PRAGMA trusted_schema = OFF;") &&
           number_of(sqlite, "PRAGMA synchronous", -1) == 2 &&
           number_of(sqlite, "SELECT journal_mode = 'wal' FROM pragma_journal_mode", -1) == 1;
}

static bool write_origin(sqlite3 *sqlite, const char *follows)
{
    char time[ENCODE_TIME_SIZE];
    uint8_t digest[CHAIN_SIZE];
    sqlite3_stmt *statement = NULL;
    const struct store_origin origin = { encode_time(time, wall_time_now()), follows };
    store_origin_digest(&origin, digest);
    if (sqlite3_prepare_v2(sqlite, "INSERT INTO head VALUES (1, ?, ?, 0, ?)", -1, &statement,
                           NULL) != SQLITE_OK)
        return false;
    sqlite3_bind_text(statement, 1, origin.time, -1, SQLITE_STATIC);
    sqlite3_bind_text(statement, 2, origin.follows, -1, SQLITE_STATIC);
    sqlite3_bind_blob(statement, 3, digest, CHAIN_SIZE, SQLITE_STATIC);
    sqlite3_step(statement);
    return sqlite3_finalize(statement) == SQLITE_OK;
}

static bool make(sqlite3 *sqlite, const char *follows)
{
    char marks[96];
    snprintf(marks, sizeof marks, "PRAGMA application_id = %d; PRAGMA user_version = %d; COMMIT;",
             STORE_APPLICATION, STORE_VERSION);
    return execute(sqlite, "BEGIN IMMEDIATE;") && execute(sqlite, store_schema) &&
           write_origin(sqlite, follows) && execute(sqlite, marks);
}

static bool foreign(const char *path, struct failure *failure, int64_t application, int64_t version)
{
    if (application != STORE_APPLICATION)
        return !failure_set(failure, FAILURE_SETTINGS, path, "a path of its own for the store",
                            "this database belongs to another program");
    if (version != STORE_VERSION && version != 1)
        return !failure_set(failure, FAILURE_SETTINGS, path, NULL,
                            "this store is of version %lld, made by a newer gradusd; this one "
                            "knows version %d",
                            (long long)version, STORE_VERSION);
    return false;
}

/* Looks at what is there, makes what is not. */
static enum store_state prepare(sqlite3 *sqlite, const char *path, const char *follows,
                                struct failure *failure)
{
    int64_t tables = number_of(sqlite, "SELECT count(*) FROM sqlite_schema", -1);
    int64_t application = number_of(sqlite, "PRAGMA application_id", -1);
    int64_t version = number_of(sqlite, "PRAGMA user_version", -1);
    bool empty = tables == 0 && application == 0;
    if (tables >= 0 && !empty && foreign(path, failure, application, version))
        return STORE_FOREIGN;
    if (tables < 0 || !configure(sqlite) || (empty && !make(sqlite, follows)) ||
        (!empty && version == 1 && !execute(sqlite, store_from_1))) {
        int code = sqlite3_extended_errcode(sqlite);
        enum store_state state = store_db_fail(sqlite, code, failure);
        return state == STORE_WELL ? STORE_FAILING : state;
    }
    return STORE_WELL;
}

enum store_state store_db_open(const char *path, const char *follows, struct store_db **db,
                               struct failure *failure)
{
    struct store_db *made = calloc(1, sizeof *made);
    if (made == NULL) {
        failure_set(failure, FAILURE_NO_MEMORY, path, NULL, "no memory for the store");
        return STORE_FAILING;
    }
    int flags = SQLITE_OPEN_READWRITE | SQLITE_OPEN_CREATE | SQLITE_OPEN_NOMUTEX;
    int code = sqlite3_open_v2(path, &made->sqlite, flags, NULL);
    enum store_state state;
    if (code == SQLITE_OK) {
        sqlite3_extended_result_codes(made->sqlite, 1);
        state = prepare(made->sqlite, path, follows, failure);
    } else {
        state = store_state_of(made->sqlite, code);
        failure_set(failure, FAILURE_SYSTEM, path, NULL, "the database cannot be opened: %s",
                    sqlite3_errmsg(made->sqlite));
    }
    if (state == STORE_WELL)
        *db = made;
    else
        store_db_close(made);
    return state;
}

enum store_state store_db_check(struct store_db *db, struct failure *failure)
{
    sqlite3_stmt *statement = NULL;
    const char *path = sqlite3_db_filename(db->sqlite, "main");
    int code = sqlite3_prepare_v2(db->sqlite, "PRAGMA quick_check(1)", -1, &statement, NULL);
    bool sound = false;
    if (code == SQLITE_OK && (code = sqlite3_step(statement)) == SQLITE_ROW)
        sound = strcmp((const char *)sqlite3_column_text(statement, 0), "ok") == 0;
    sqlite3_finalize(statement);
    if (code != SQLITE_ROW)
        return store_db_fail(db->sqlite, code, failure);
    if (!sound)
        failure_set(failure, FAILURE_SYSTEM, path, NULL, "the database is damaged");
    return sound ? STORE_WELL : STORE_DAMAGED;
}

/* Gives a file with this ending the new name; that it is not there is well too. */
static bool rename_part(const char *path, const char *new_path, const char *ending)
{
    char from[960];
    char to[960];
    snprintf(from, sizeof from, "%s%s", path, ending);
    snprintf(to, sizeof to, "%s%s", new_path, ending);
    return renameat2(AT_FDCWD, from, AT_FDCWD, to, RENAME_NOREPLACE) == 0 || errno == ENOENT;
}

char *store_db_aside_name(const char *path, char name[STORE_ASIDE])
{
    const struct timespec now = wall_time_timespec(wall_time_now());
    const char *slash = strrchr(path, '/');
    const char *file = slash != NULL ? slash + 1 : path;
    struct tm parts;
    char stamp[32] = "";
    if (gmtime_r(&now.tv_sec, &parts) != NULL)
        strftime(stamp, sizeof stamp, "%Y%m%dT%H%M%SZ", &parts);
    /* The settings see to it that the path ends in .db. */
    snprintf(name, STORE_ASIDE, "%.*s-damaged-%s-%09ld.db", (int)strlen(file) - 3, file, stamp,
             now.tv_nsec);
    return name;
}

bool store_db_set_aside(const char *path, const char *name, struct failure *failure)
{
    char new_path[900];
    const char *slash = strrchr(path, '/');
    int folder = slash != NULL ? (int)(slash + 1 - path) : 0;
    snprintf(new_path, sizeof new_path, "%.*s%s", folder, path, name);
    return (rename_part(path, new_path, "") && rename_part(path, new_path, "-wal") &&
            rename_part(path, new_path, "-shm")) ||
           failure_set(failure, FAILURE_SYSTEM, path, NULL, "cannot be set aside as %.120s: %s",
                       new_path, strerror(errno));
}
