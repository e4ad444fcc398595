/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The one connection that writes the store: SQLite with a write-ahead log,
 * flushed at each commit. It alone checkpoints; every other connection, in
 * this process or another, must be read-only: SQLite 3.7.0 to 3.51.2 can
 * damage a database in WAL when two connections write or checkpoint at the
 * same moment (notes to release 3.51.3; Debian 12 has 3.40.1 without the cure).
 *
 * A transaction begins with the head of the chain as the file has it. Records
 * keep the id and digest they were last written with, so that what a failed
 * commit left behind after all is recognised and not written twice.
 *
 * Used by one thread at a time.
 */
#ifndef GRADUS_DAEMON_STORE_DB_H
#define GRADUS_DAEMON_STORE_DB_H

#include "core/basics/failure.h"
#include "store_record.h"

#include <stdbool.h>
#include <stddef.h>

/* How the database is doing. */
enum store_state {
    STORE_WELL,
    STORE_LOCKED,    /* another process is writing */
    STORE_FULL,      /* no room on the disk, in the quota, or in the largest file allowed */
    STORE_READ_ONLY, /* may not be written or opened */
    STORE_DAMAGED,   /* what is in the file is no sound database */
    STORE_GONE,      /* the file was removed or replaced under the open connection */
    STORE_FOREIGN,   /* a sound database, but none of this program's, or of a newer one */
    STORE_FAILING    /* anything else */
};

struct store_db;

/* The state as it stands on the wire: "well", "locked", ... */
const char *store_state_name(enum store_state state);

/*
 * Opens the database at `path`, or makes it. `follows` is the name of the
 * damaged file it takes the place of, or NULL. On any state but STORE_WELL
 * the failure is set, and `db` is not written.
 */
enum store_state store_db_open(const char *path, const char *follows, struct store_db **db,
                               struct failure *failure);

/* Puts what is in the log into the database and closes. Accepts NULL. */
void store_db_close(struct store_db *db);

/* Closes a damaged database and leaves its files as they are. Accepts NULL. */
void store_db_leave(struct store_db *db);

/*
 * Writes the first `count` records of a list in one transaction. Each has its
 * id and digest then. On any state but STORE_WELL none is written for certain.
 */
enum store_state store_db_write(struct store_db *db, struct record *first, size_t count,
                                struct failure *failure);

/* Looks through the whole database for damage of its structure. */
enum store_state store_db_check(struct store_db *db, struct failure *failure);

enum { STORE_ASIDE = 320 };

/* A name, without its folder, under which a damaged database is put away. Returns `name`. */
char *store_db_aside_name(const char *path, char name[STORE_ASIDE]);

/* Gives the file at `path`, with what belongs to it, that name. Nothing must have it open. */
bool store_db_set_aside(const char *path, const char *name, struct failure *failure);

#endif
