/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "watchdog.h"

#include "daemon/basics/log.h"

#include <event2/event.h>
#include <stdio.h>
#include <stdlib.h>

struct watchdog {
    struct loop *loop;
    const struct service_manager *manager;
    struct event *timer;
    bool stuck; /* and that was said */
};

/* The thread that does not get on any more; NULL: all do. */
static const char *stuck_thread(const struct loop *loop)
{
    const struct moment now = monotonic_now();
    if (loop->store != NULL && store_is_late(loop->store, now))
        return "the store";
    return crew_late(loop->crew, now);
}

static void say_stuck(const struct watchdog *watchdog, const char *thread)
{
    char text[200];
    snprintf(text, sizeof text, "STATUS=stuck: %s", thread);
    log_line(LOG_PRIORITY_ERROR,
             "%s: its thread is stuck; the service manager hears no more from here", thread);
    service_manager_tell(watchdog->manager, text);
}

static void on_timer(evutil_socket_t unused, short what, void *context)
{
    struct watchdog *watchdog = context;
    const char *thread = stuck_thread(watchdog->loop);
    (void)unused;
    (void)what;
    if (thread == NULL)
        service_manager_tell(watchdog->manager, "WATCHDOG=1");
    else if (!watchdog->stuck)
        say_stuck(watchdog, thread);
    if (thread == NULL && watchdog->stuck)
        log_line(LOG_PRIORITY_NOTICE, "no thread is stuck any more");
    watchdog->stuck = thread != NULL;
}

struct watchdog *watchdog_new(struct loop *loop, const struct service_manager *manager)
{
    const struct timeval pause = duration_timeval((struct duration) { manager->watchdog.ns / 3 });
    struct watchdog *watchdog = calloc(1, sizeof *watchdog);
    if (watchdog == NULL)
        return NULL;
    watchdog->loop = loop;
    watchdog->manager = manager;
    watchdog->timer = event_new(loop->base, -1, EV_PERSIST, on_timer, watchdog);
    if (watchdog->timer == NULL ||
        (manager->watchdog.ns > 0 && event_add(watchdog->timer, &pause) != 0)) {
        watchdog_free(watchdog);
        return NULL;
    }
    return watchdog;
}

void watchdog_free(struct watchdog *watchdog)
{
    if (watchdog == NULL)
        return;
    if (watchdog->timer != NULL)
        event_free(watchdog->timer);
    free(watchdog);
}
