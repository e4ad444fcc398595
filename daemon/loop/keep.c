/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The store as part of the daemon: begun with it, fed by it, ended with it. */
#include "daemon/daemon_priv.h"

#include "daemon/basics/log.h"
#include "daemon/store/store_read.h"

/* The database can no longer be written, or can be again. */
static void on_changed(void *context)
{
    struct daemon *daemon = context;
    if (store_view(daemon->store).state != STORE_WELL)
        answers_hurry(daemon->answers);
}

bool daemon_open_store(struct daemon *daemon, struct failure *failure)
{
    const struct store_hooks hooks = { daemon, on_changed };
    if (daemon->bench->store.path[0] == '\0')
        return true;
    daemon->store = store_new(&daemon->bench->store, daemon->mailbox, &hooks, failure);
    return daemon->store != NULL;
}

void daemon_close_store(struct daemon *daemon)
{
    if (daemon->store == NULL)
        return;
    store_stop(daemon->store);
    mailbox_open(daemon->mailbox);
    store_free(daemon->store);
    daemon->store = NULL;
}

void daemon_recall_probe_checks(struct daemon *daemon)
{
    struct failure failure = { 0 };
    sqlite3_stmt *at = NULL;
    sqlite3 *sqlite =
        daemon->store != NULL ? store_read_open(daemon->bench->store.path, &failure) : NULL;
    if (sqlite == NULL)
        return;
    sqlite3_prepare_v2(sqlite,
                       "SELECT body, time_ns FROM events WHERE kind = 'compensation checked'"
                       " AND body IS NOT NULL ORDER BY id",
                       -1, &at, NULL);
    while (at != NULL && sqlite3_step(at) == SQLITE_ROW)
        probe_checks_recall(daemon->probe_checks, (const char *)sqlite3_column_text(at, 0),
                            sqlite3_column_int64(at, 1));
    sqlite3_finalize(at);
    sqlite3_close(sqlite);
}

void daemon_keep(struct daemon *daemon, struct job *job)
{
    if (daemon->store == NULL)
        return;
    const struct occasion occasion = daemon_occasion(job);
    struct record *record = record_reading(job->bench, &occasion, &job->capture.reading);
    if (record != NULL && job->run[0] != '\0')
        record_set_run(record, job->run, job->round);
    if (record == NULL)
        log_line(LOG_PRIORITY_ERROR, "%s: no memory to keep a reading", job->point->name);
    else if (store_append(daemon->store, record))
        job->record = record;
    else
        record_free(record);
}
