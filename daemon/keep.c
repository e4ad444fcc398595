/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The store as part of the daemon: begun with it, fed by it, ended with it. */
#include "daemon_priv.h"

#include "log.h"

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
