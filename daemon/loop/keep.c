/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The store as part of the daemon: fed by what is published, and ended with it. */
#include "loop.h"

#include "daemon/basics/log.h"

/* The database can no longer be written, or can be again. */
static void on_changed(void *context)
{
    struct loop *loop = context;
    struct happening event = { .subject = "", .plan = "" };
    event.kind =
        store_view(loop->store).state == STORE_WELL ? EVENT_STORE_WELL : EVENT_STORE_TROUBLE;
    publish_event(&loop->publish, &event);
}

bool loop_open_store(struct loop *loop, struct failure *failure)
{
    const struct store_hooks hooks = { loop, on_changed };
    if (loop->bench->store.path[0] == '\0')
        return true;
    loop->store = store_new(&loop->bench->store, loop->mailbox, &hooks, failure);
    return loop->store != NULL;
}

void loop_close_store(struct loop *loop)
{
    if (loop->store == NULL)
        return;
    store_stop(loop->store);
    mailbox_open(loop->mailbox);
    store_free(loop->store);
    loop->store = NULL;
}

static void keep_reading(void *context, struct job *job)
{
    struct loop *loop = context;
    if (loop->store == NULL || !moment_is_set(job->started))
        return;
    const struct occasion occasion = job_occasion(job);
    struct record *record = record_reading(job->bench, &occasion, &job->capture.reading);
    if (record != NULL && job->run[0] != '\0')
        record_set_run(record, job->run, job->round);
    if (record == NULL)
        log_line(LOG_PRIORITY_ERROR, "%s: no memory to keep a reading", job->point->name);
    else if (store_append(loop->store, record))
        job->record = record;
    else
        record_free(record);
}

static void keep_event(void *context, struct happening *event)
{
    struct loop *loop = context;
    if (loop->store == NULL || !event_kind_kept(event->kind) || event->body == NULL ||
        event->body->failed)
        return;
    struct record *record =
        record_event(event_kind_text(event->kind), event->subject, event->time, event->body->bytes);
    if (record != NULL && store_append(loop->store, record))
        event->record = record;
    else
        record_free(record);
}

void loop_keep(struct loop *loop)
{
    const struct subscriber keeper = { loop, keep_reading, keep_event };
    publish_join(&loop->publish, &keeper);
}
