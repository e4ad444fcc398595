/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The lock on the database file itself, by which no second daemon writes it,
 * whatever name it reaches it by. It also makes the file, for its owner alone
 * to read, and sees to it that it is a regular file and no link to one.
 */
#ifndef GRADUS_DAEMON_STORE_GUARD_H
#define GRADUS_DAEMON_STORE_GUARD_H

#include "store_db.h"

#include <sys/types.h>

/* Start with {.file = -1}. */
struct store_guard {
    int file; /* locked; -1: none is */
    dev_t device;
    ino_t inode;
};

/*
 * Locks the file at `path`, unless it is the one that is locked already.
 * While that is so no other descriptor of it is opened or closed here: its
 * close would drop the locks that SQLite holds on it in this process
 * (fcntl(2), on advisory record locks). STORE_FOREIGN with the failure set where
 * another process has it, or where it is no file of its own.
 */
enum store_state store_guard_take(struct store_guard *guard, const char *path,
                                  struct failure *failure);

/* Ends; after the last connection is closed. */
void store_guard_end(struct store_guard *guard);

#endif
