/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A disk that fails on demand: SQLite's usual file system with writes and flushes that can be made to fail. */
#ifndef GRADUS_TESTS_FAILING_DISK_H
#define GRADUS_TESTS_FAILING_DISK_H

#include <stdatomic.h>
#include <stdbool.h>

/* What fails from now on: a result code of SQLite, 0 for nothing. */
extern _Atomic int failing_write;
extern _Atomic int failing_sync;
extern _Atomic int failing_open;

/* How often a file was flushed, whether or not that failed. */
extern _Atomic int sync_count;

/* Puts it in the place of the usual one, for every database opened from now on. */
bool failing_disk_install(void);

#endif
