/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "answers.h"

#include "loop.h"

#include <event2/event.h>
#include <stdlib.h>
#include <sys/queue.h>

/* How long a disk may take before a reading is answered as not stored. */
static const double patience_ms = 1000;
/* How often it is looked whether somebody has waited too long. */
static const struct timeval look = { 0, 20000 };

struct pending {
    struct answers *answers;
    struct rpc_call *call; /* NULL: nobody waits any more */
    struct session *session;
    struct record *record; /* the store's; NULL: it is a query */
    struct store_query *query;
    struct deadline until;
    TAILQ_ENTRY(pending) entry;
};

TAILQ_HEAD(pending_list, pending);

struct answers {
    struct loop *loop;
    struct pending_list open;
    struct event *timer;
};

/* The call has been answered. */
static void pending_end(struct pending *pending)
{
    struct answers *answers = pending->answers;
    struct session *session = pending->session;
    TAILQ_REMOVE(&answers->open, pending, entry);
    if (pending->query != NULL)
        session->account->questions--;
    if (TAILQ_EMPTY(&answers->open))
        event_del(answers->timer);
    if (--session->answers == 0)
        session->ops->idle(session->peer);
    pending->call = NULL;
}

/* What to say of a reading that is not durable yet. */
static void write_warning(struct loop *loop, char *text, size_t size)
{
    const struct store_view view = store_view(loop->store);
    if (view.state == STORE_WELL)
        snprintf(text, size, "not stored yet: the disk is slow; %zu of %zu held in memory",
                 view.held, view.hold);
    else
        snprintf(text, size, "not stored yet: %s; %zu of %zu held in memory", view.failure.what,
                 view.held, view.hold);
}

static void pending_record(struct pending *pending, int64_t id)
{
    struct loop *loop = pending->answers->loop;
    struct text *text = loop_text(loop);
    char warning[400];
    if (id == 0)
        write_warning(loop, warning, sizeof warning);
    encode_stored(text, &pending->record->body, id, id == 0 ? warning : NULL);
    rpc_result(pending->call, text);
    pending->record->done = NULL;
    pending_end(pending);
    free(pending);
}

static void on_durable(struct record *record)
{
    pending_record(record->owner, record->id);
}

static void on_look(evutil_socket_t unused, short what, void *context)
{
    struct answers *answers = context;
    struct pending *pending = TAILQ_FIRST(&answers->open);
    (void)unused;
    (void)what;
    while (pending != NULL) {
        struct pending *next = TAILQ_NEXT(pending, entry);
        if (pending->record != NULL && deadline_passed(pending->until))
            pending_record(pending, 0);
        pending = next;
    }
}

static struct pending *pending_new(struct answers *answers, struct rpc_call *call)
{
    struct pending *pending = calloc(1, sizeof *pending);
    if (pending == NULL) {
        struct failure failure = { 0 };
        failure_no_memory(&failure, "a call that waits");
        call_refuse(answers->loop, call, &failure);
        return NULL;
    }
    pending->answers = answers;
    pending->call = call;
    pending->session = rpc_call_peer(call);
    pending->session->answers++;
    if (TAILQ_EMPTY(&answers->open))
        event_add(answers->timer, &look);
    TAILQ_INSERT_TAIL(&answers->open, pending, entry);
    return pending;
}

void answers_wait_record(struct answers *answers, struct rpc_call *call, struct record *record,
                         struct deadline deadline)
{
    struct pending *pending = pending_new(answers, call);
    if (pending == NULL)
        return;
    pending->record = record;
    pending->until = deadline_sooner(deadline, deadline_in(patience_ms));
    if (store_view(answers->loop->store).state != STORE_WELL) {
        pending_record(pending, 0);
        return;
    }
    record->done = on_durable;
    record->owner = pending;
}

static void on_answered(struct store_query *query)
{
    struct pending *pending = query->owner;
    if (pending->call != NULL && query->failure.code != FAILURE_NONE)
        call_refuse(pending->answers->loop, pending->call, &query->failure);
    else if (pending->call != NULL)
        rpc_result(pending->call, &query->text);
    if (pending->call != NULL)
        pending_end(pending);
    free(pending);
    store_query_free(query);
}

void answers_wait_query(struct answers *answers, struct rpc_call *call, struct store_query *query)
{
    struct session *session = rpc_call_peer(call);
    struct failure failure = { 0 };
    if (!account_take_question(session->account, &failure)) {
        call_refuse(answers->loop, call, &failure);
        store_query_free(query);
        return;
    }
    struct pending *pending = pending_new(answers, call);
    if (pending == NULL) {
        session->account->questions--;
        store_query_free(query);
        return;
    }
    pending->query = query;
    query->asker = session->account->number;
    query->done = on_answered;
    query->owner = pending;
    store_ask(answers->loop->store, query);
}

/* What waits for a reading to become durable is answered: it will not soon. */
static void on_event(void *context, struct happening *event)
{
    struct answers *answers = context;
    struct pending *pending = TAILQ_FIRST(&answers->open);
    while (event->kind == EVENT_STORE_TROUBLE && pending != NULL) {
        struct pending *next = TAILQ_NEXT(pending, entry);
        if (pending->record != NULL)
            pending_record(pending, 0);
        pending = next;
    }
}

/* A question of a session that goes is cancelled, and comes back to nobody. */
static void pending_drop(struct pending *pending)
{
    struct failure failure = { 0 };
    store_query_cancel(pending->query);
    failure_set(&failure, FAILURE_STOPPING, NULL, NULL, "the client has gone");
    call_refuse(pending->answers->loop, pending->call, &failure);
    pending_end(pending);
}

void answers_dismiss(struct answers *answers, const struct session *session)
{
    struct pending *pending = TAILQ_FIRST(&answers->open);
    while (pending != NULL) {
        struct pending *next = TAILQ_NEXT(pending, entry);
        if (pending->session == session && pending->record != NULL)
            pending_record(pending, 0);
        else if (pending->session == session)
            pending_drop(pending);
        pending = next;
    }
}

bool answers_none(const struct answers *answers)
{
    return TAILQ_EMPTY(&answers->open);
}

struct answers *answers_new(struct loop *loop)
{
    struct answers *answers = calloc(1, sizeof *answers);
    if (answers == NULL)
        return NULL;
    answers->loop = loop;
    TAILQ_INIT(&answers->open);
    answers->timer = event_new(loop->base, -1, EV_PERSIST, on_look, answers);
    if (answers->timer == NULL) {
        free(answers);
        return NULL;
    }
    publish_join(&loop->publish, &(struct subscriber) { .context = answers, .event = on_event });
    return answers;
}

void answers_free(struct answers *answers)
{
    if (answers == NULL)
        return;
    event_free(answers->timer);
    free(answers);
}
