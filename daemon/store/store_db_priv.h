/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The insides of the writing connection, shared with what else is written through it. */
#ifndef GRADUS_DAEMON_STORE_DB_PRIV_H
#define GRADUS_DAEMON_STORE_DB_PRIV_H

#include "store_db.h"
#include "store_schema.h"

#include <sqlite3.h>

/* Statements that are kept prepared; see store_db.c. */
enum store_statement {
    STATEMENT_BEGIN,
    STATEMENT_COMMIT,
    STATEMENT_ROLLBACK,
    STATEMENT_HEAD,
    STATEMENT_SET_HEAD,
    STATEMENT_READING,
    STATEMENT_EVENT,
    STATEMENT_FIND_SETTINGS,
    STATEMENT_ADD_SETTINGS,
    STATEMENT_FIND_INSTRUMENT,
    STATEMENT_ADD_INSTRUMENT,
    STATEMENT_FIND_VERSION,
    STATEMENT_ADD_VERSION,
    STATEMENT_COUNT
};

struct store_db {
    sqlite3 *sqlite;
    sqlite3_stmt *statements[STATEMENT_COUNT];
    int64_t last; /* id of the last row, inside a transaction */
    uint8_t digest[CHAIN_SIZE];
    struct {
        int64_t id; /* of the last row that a commit of this connection flushed; 0: none yet */
        uint8_t digest[CHAIN_SIZE];
    } durable;
    struct {
        char digest[DIGEST_SIZE]; /* of the settings last referred to; empty: none */
        int64_t id;
    } settings;
    struct {
        char name[BENCH_NAME]; /* of the instrument last referred to; empty: none */
        char identity[RECORD_IDENTITY];
        char calibration_due[BENCH_DATE];
        int64_t id;
    } instrument;
    int64_t version; /* row of this program's version; 0: not known */
};

/* Begins a transaction and reads the head of the chain. */
bool store_db_begin(struct store_db *db);

/* Writes the head of the chain and commits. */
bool store_db_commit(struct store_db *db);

/* Ends a transaction that failed; says why it did, and what state that is. */
enum store_state store_db_abandon(struct store_db *db, struct failure *failure);

/* Appends an event to the chain; fills in its id. */
bool store_db_event(struct store_db *db, struct store_event *event, uint8_t digest[CHAIN_SIZE]);

/* What a result code of SQLite means for the store. */
enum store_state store_state_of(sqlite3 *sqlite, int code);

/* Sets the failure to what SQLite says; returns store_state_of(). */
enum store_state store_db_fail(sqlite3 *sqlite, int code, struct failure *failure);

#endif
