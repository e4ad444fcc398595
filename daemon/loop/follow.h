/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Subscriptions: points measured again and again for one client, each
 * outcome sent as a notification, until the client goes, ends it, or has had
 * as many as it asked for.
 *
 * Rounds keep their phase: the next is due one period after the last was
 * due, however long it took. A round that starts late says by how much, and
 * rounds that could not be held at all are counted in the next. With a
 * period of 0 one job is always queued ahead, so that the instrument never
 * waits for the loop.
 */
#ifndef GRADUS_DAEMON_FOLLOW_H
#define GRADUS_DAEMON_FOLLOW_H

#include "core/basics/failure.h"
#include "daemon/work/session.h"

#include <jansson.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

struct loop;
struct follow;

enum { FOLLOW_MAX_POINTS = 256 };

/* What a client asks for. */
struct follow_order {
    const char *const *points; /* names */
    size_t count;              /* 1 to FOLLOW_MAX_POINTS */
    json_t *read;       /* keys of the only point, which is not in the settings; NULL: none */
    double every_ms;    /* 0: as fast as it goes */
    size_t rounds;      /* for each point; 0: no end */
    double deadline_ms; /* for each measurement */
};

/* No subscriptions yet; joins what the loop publishes. NULL when memory is short. */
struct follow *follow_new(struct loop *loop);

/* Ends what is left. Accepts NULL. */
void follow_free(struct follow *follow);

/*
 * Begins a subscription; its first notification leaves later than this
 * returns. Fails when a point is unknown or the session has too many.
 * Whether a point that is not in the settings can be made of order->read, the caller has seen.
 */
bool follow_begin(struct follow *follow, struct session *session, const struct follow_order *order,
                  uint64_t *number, struct failure *failure);

/* Ends a session's subscription. False when it has none of that number. */
bool follow_end(struct follow *follow, const struct session *session, uint64_t number);

/* Ends all of a session's subscriptions; says nothing to it. */
void follow_dismiss(struct follow *follow, const struct session *session);

/* Ends all subscriptions and tells their clients that the daemon is stopping. */
void follow_stop(struct follow *follow);

#endif
