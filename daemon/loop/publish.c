/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "publish.h"

#include "daemon/basics/wall_clock.h"

#include <assert.h>

void publish_join(struct publish *publish, const struct subscriber *subscriber)
{
    assert(publish->count < PUBLISH_SUBSCRIBERS);
    publish->subscribers[publish->count++] = *subscriber;
}

void publish_reading(struct publish *publish, struct job *job)
{
    for (size_t i = 0; i < publish->count; i++)
        if (publish->subscribers[i].reading != NULL)
            publish->subscribers[i].reading(publish->subscribers[i].context, job);
}

void publish_event(struct publish *publish, struct happening *event)
{
    if (event->time.ns == 0)
        event->time = wall_time_now();
    for (size_t i = 0; i < publish->count; i++)
        if (publish->subscribers[i].event != NULL)
            publish->subscribers[i].event(publish->subscribers[i].context, event);
}
