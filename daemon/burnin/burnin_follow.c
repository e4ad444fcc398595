/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "burnin_follow.h"

#include "daemon/loop/loop.h"
#include "daemon/loop/notify.h"

#include <event2/event.h>
#include <stdlib.h>
#include <string.h>
#include <sys/queue.h>

struct listener {
    struct burnin_follow *follow;
    struct session *session;
    uint64_t number;
    char name[BENCH_NAME]; /* of a run or a plan; empty: all */
    bool single;           /* it is a run's */
    bool caught_up;        /* what was kept has been told */
    struct event *begins;
    uint64_t missed; /* notifications dropped, not told yet */
    LIST_ENTRY(listener) entry;
};

/* An event from before anybody could be told. */
struct kept {
    char run[BENCH_NAME];
    char plan[BENCH_NAME];
    struct text body;
    struct happening event; /* made of these */
    bool recorded;          /* the store has taken it */
    STAILQ_ENTRY(kept) entry;
};

struct burnin_follow {
    struct loop *loop;
    bool open; /* clients can be connected */
    LIST_HEAD(listeners, listener) listeners;
    STAILQ_HEAD(kept_events, kept) kept; /* oldest first */
};

void burnin_follow_free(struct burnin_follow *follow)
{
    struct kept *kept;
    while (follow != NULL && (kept = STAILQ_FIRST(&follow->kept)) != NULL) {
        STAILQ_REMOVE_HEAD(&follow->kept, entry);
        text_free(&kept->body);
        free(kept);
    }
    free(follow);
}

static void listener_free(struct listener *listener)
{
    if (listener->begins != NULL)
        event_free(listener->begins);
    LIST_REMOVE(listener, entry);
    notify_close(listener->session);
    free(listener);
}

static bool concerns(const struct listener *listener, const struct happening *event)
{
    return listener->name[0] == '\0' || strcmp(listener->name, event->subject) == 0 ||
           strcmp(listener->name, event->plan) == 0;
}

static void tell(struct listener *listener, const struct happening *event, bool recorded,
                 bool earlier)
{
    struct loop *loop = listener->follow->loop;
    char time[ENCODE_TIME_SIZE];
    if (!concerns(listener, event))
        return;
    struct text *text = notification_open(loop, listener->number, "burnin");
    text_member_string(text, "kind", event_kind_text(event->kind));
    text_member_string(text, "run", event->subject);
    text_member_string(text, "plan", event->plan);
    text_member_string(text, "time", encode_time(time, event->time));
    if (earlier)
        text_member_bool(text, "earlier", true);
    if (!recorded)
        text_member_bool(text, "recorded", false);
    if (!event->body->failed) {
        text_key(text, "body");
        text_json(text, event->body->bytes, event->body->length);
    }
    notification_send(loop, listener->session, text, &listener->missed);
}

/* Tells what was kept, unless that has been done. */
static void catch_up(struct listener *listener)
{
    const struct kept *kept;
    if (listener->caught_up)
        return;
    listener->caught_up = true;
    STAILQ_FOREACH(kept, &listener->follow->kept, entry)
    tell(listener, &kept->event, kept->recorded, true);
}

static void on_begin(evutil_socket_t unused, short what, void *context)
{
    (void)unused;
    (void)what;
    catch_up(context);
}

static bool listener_begin(struct listener *listener)
{
    static const struct timeval soon = { 0, 0 };
    listener->begins = evtimer_new(listener->follow->loop->base, on_begin, listener);
    return listener->begins != NULL && evtimer_add(listener->begins, &soon) == 0;
}

bool burnin_follow_begin(struct burnin_follow *follow, struct session *session, const char *name,
                         uint64_t *number, struct failure *failure)
{
    struct loop *loop = follow->loop;
    if (loop->stopping)
        return failure_set(failure, FAILURE_STOPPING, NULL, NULL, "no new work is accepted");
    if (session->subscriptions >= SESSION_MAX_SUBSCRIPTIONS)
        return failure_set(failure, FAILURE_OVERLOADED, NULL, NULL,
                           "this client has %zu subscriptions", session->subscriptions);
    struct listener *listener = calloc(1, sizeof *listener);
    if (listener == NULL)
        return failure_no_memory(failure, "a subscription");
    listener->follow = follow;
    listener->session = session;
    snprintf(listener->name, sizeof listener->name, "%s", name != NULL ? name : "");
    listener->single = name != NULL && bench_burnin(loop->bench, name) == NULL;
    listener->number = notify_open(loop, session);
    LIST_INSERT_HEAD(&follow->listeners, listener, entry);
    if (!listener_begin(listener)) {
        listener_free(listener);
        return failure_no_memory(failure, "a subscription");
    }
    *number = listener->number;
    return true;
}

/* Keeps an event; one that memory is short for is on record and in the log only. */
static void keep(struct burnin_follow *follow, const struct happening *event)
{
    struct kept *kept = calloc(1, sizeof *kept);
    if (kept == NULL)
        return;
    snprintf(kept->run, sizeof kept->run, "%s", event->subject);
    snprintf(kept->plan, sizeof kept->plan, "%s", event->plan);
    text_raw(&kept->body, event->body->bytes, event->body->length);
    kept->body.failed = kept->body.failed || event->body->failed;
    kept->recorded = event->record != NULL;
    kept->event = (struct happening) { .kind = event->kind,
                                       .subject = kept->run,
                                       .plan = kept->plan,
                                       .body = &kept->body,
                                       .time = event->time };
    STAILQ_INSERT_TAIL(&follow->kept, kept, entry);
}

static void finish(struct listener *listener)
{
    struct loop *loop = listener->follow->loop;
    struct text *text = notification_open(loop, listener->number, "finished");
    notification_send(loop, listener->session, text, &listener->missed);
    listener_free(listener);
}

/* Tells an event of a run to those it concerns; a subscription to that run alone ends with it. */
static void on_event(void *context, struct happening *event)
{
    struct burnin_follow *follow = context;
    struct listener *next = NULL;
    if (event->plan[0] == '\0')
        return;
    if (!follow->open)
        keep(follow, event);
    for (struct listener *at = LIST_FIRST(&follow->listeners); at != NULL; at = next) {
        next = LIST_NEXT(at, entry);
        catch_up(at);
        tell(at, event, event->record != NULL, false);
        if (event->kind == EVENT_RUN_ENDED && at->single && concerns(at, event))
            finish(at);
    }
}

struct burnin_follow *burnin_follow_new(struct loop *loop)
{
    struct burnin_follow *follow = calloc(1, sizeof *follow);
    if (follow == NULL)
        return NULL;
    follow->loop = loop;
    LIST_INIT(&follow->listeners);
    STAILQ_INIT(&follow->kept);
    publish_join(&loop->publish, &(struct subscriber) { .context = follow, .event = on_event });
    return follow;
}

void burnin_follow_open(struct burnin_follow *follow)
{
    follow->open = true;
}

bool burnin_follow_end(struct burnin_follow *follow, const struct session *session, uint64_t number)
{
    struct listener *listener;
    LIST_FOREACH(listener, &follow->listeners, entry)
    {
        if (listener->session == session && listener->number == number) {
            listener_free(listener);
            return true;
        }
    }
    return false;
}

void burnin_follow_dismiss(struct burnin_follow *follow, const struct session *session)
{
    struct listener *next = NULL;
    for (struct listener *at = LIST_FIRST(&follow->listeners); at != NULL; at = next) {
        next = LIST_NEXT(at, entry);
        if (at->session == session)
            listener_free(at);
    }
}

void burnin_follow_stop(struct burnin_follow *follow)
{
    struct loop *loop = follow->loop;
    struct failure failure = { 0 };
    struct listener *next = NULL;
    failure_set(&failure, FAILURE_STOPPING, NULL, NULL, "the subscription ends here");
    for (struct listener *at = LIST_FIRST(&follow->listeners); at != NULL; at = next) {
        next = LIST_NEXT(at, entry);
        struct text *text = notification_open(loop, at->number, "finished");
        text_key(text, "error");
        encode_error(text, &failure, NULL, NULL, NULL);
        notification_send(loop, at->session, text, &at->missed);
        listener_free(at);
    }
}
