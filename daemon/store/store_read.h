/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Reading the store: a connection that never writes, and rows as they were written. */
#ifndef GRADUS_DAEMON_STORE_READ_H
#define GRADUS_DAEMON_STORE_READ_H

#include "core/basics/failure.h"
#include "store_row.h"

#include <sqlite3.h>
#include <stdbool.h>

/* Opens the database read-only; NULL with the failure set when it cannot be. Close with sqlite3_close(). */
sqlite3 *store_read_open(const char *path, struct failure *failure);

/* Sets the failure to what SQLite says. Returns false. */
bool store_read_fail(sqlite3 *sqlite, struct failure *failure);

/*
 * A statement that selects readings for store_read_row(); `where` is what
 * stands behind the tables. NULL when it cannot be prepared.
 */
sqlite3_stmt *store_read_rows(sqlite3 *sqlite, const char *where);

/*
 * A statement with its first two parameters bound to texts, which are borrowed;
 * one that is NULL is not bound. NULL as above.
 */
sqlite3_stmt *store_read_about(sqlite3 *sqlite, const char *sql, const char *first,
                               const char *second);

/* The text of a column, valid until the statement steps; "" where there is none. */
const char *store_read_text(sqlite3_stmt *statement, int column);

/* The row a statement stands on, and its digest (NULL when it has none); valid until it steps. */
const uint8_t *store_read_row(sqlite3_stmt *statement, struct store_row *row);

/*
 * The digest of the row before id: of a row, of the last one of a removal,
 * or of the origin. False when there is none.
 */
bool store_read_before(sqlite3 *sqlite, int64_t id, uint8_t digest[CHAIN_SIZE]);

/* Whether a row is the one that was written: its digest follows from the row before and itself. */
bool store_read_is_intact(sqlite3 *sqlite, const struct store_row *row, const uint8_t *digest);

#endif
