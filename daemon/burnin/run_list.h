/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What the store has of burn-in runs, as answers to queries. On the reading thread. */
#ifndef GRADUS_DAEMON_STORE_RUNS_H
#define GRADUS_DAEMON_STORE_RUNS_H

#include "daemon/store/store_query.h"

#include <sqlite3.h>
#include <stdbool.h>

/* Answers with all runs, newest last. False with the failure set. */
bool store_read_runs(sqlite3 *sqlite, struct store_query *query);

/* Answers with a page of the events of a run, oldest first. False with the failure set. */
bool store_read_events(sqlite3 *sqlite, struct store_query *query);

/* Answers with the study of a point of a run. False with the failure set. */
bool store_read_study(sqlite3 *sqlite, struct store_query *query);

#endif
