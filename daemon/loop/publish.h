/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The one place where readings and events are told: each passes through one
 * list of subscribers, in the order in which they joined. The store joins
 * first, so that whoever comes behind it knows whether it has taken the thing.
 *
 * Everything here is for the loop thread.
 */
#ifndef GRADUS_DAEMON_PUBLISH_H
#define GRADUS_DAEMON_PUBLISH_H

#include "core/basics/failure.h"
#include "core/basics/moment.h"
#include "daemon/basics/json_text.h"
#include "daemon/store/event_kinds.h"

#include <stdbool.h>
#include <stddef.h>

struct job;
struct record;

/* Something that has happened: to a run, to an instrument, to the store. */
struct happening {
    enum event_kind kind;
    const char *subject;     /* name of the run or instrument; "": of neither */
    const char *plan;        /* of the run; "": it is of none */
    const struct text *body; /* details, JSON; NULL: none */
    struct wall_time time;
    struct record *record; /* the store's, once it has taken it; good for the moment only */
};

/* Who is told. A function that is NULL is not called. */
struct subscriber {
    void *context;
    /* A measurement has come to an outcome, a value or a failure; `record` is the store's. */
    void (*reading)(void *context, struct job *job);
    void (*event)(void *context, struct happening *event);
};

enum { PUBLISH_SUBSCRIBERS = 8 };

struct publish {
    struct subscriber subscribers[PUBLISH_SUBSCRIBERS];
    size_t count;
};

/* Joins behind those who have, for good: parts of the daemon do so while it is made. */
void publish_join(struct publish *publish, const struct subscriber *subscriber);

/* Tells the outcome of a measurement. */
void publish_reading(struct publish *publish, struct job *job);

/* Tells an event; its time is set to now where it is zero. */
void publish_event(struct publish *publish, struct happening *event);

#endif
