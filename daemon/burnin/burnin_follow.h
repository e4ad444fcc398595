/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Subscriptions to what happens in burn-ins: each event that is put on record
 * is told at once, without waiting for the disk. What was found while the
 * daemon started, when nobody could be connected yet, is kept and told to
 * each new subscription first.
 */
#ifndef GRADUS_DAEMON_BURNIN_FOLLOW_H
#define GRADUS_DAEMON_BURNIN_FOLLOW_H

#include "daemon/work/session.h"

#include "core/basics/failure.h"

#include <stdbool.h>
#include <stdint.h>

struct burnin_follow;
struct loop;

/* No subscriptions yet; joins what the loop publishes. NULL when memory is short. */
struct burnin_follow *burnin_follow_new(struct loop *loop);

/* No subscription may be left. Accepts NULL. */
void burnin_follow_free(struct burnin_follow *follow);

/*
 * Begins a subscription to a run that goes on, to each run of a plan (whoever
 * calls has seen to it that `name` is one, burnin_may_follow()), or (`name`
 * NULL) to all. What was kept is told later than this returns.
 */
bool burnin_follow_begin(struct burnin_follow *follow, struct session *session, const char *name,
                         uint64_t *number, struct failure *failure);

/* From now on clients can be connected: events are told and not kept. */
void burnin_follow_open(struct burnin_follow *follow);

/* Ends a session's subscription. False when it has none of that number. */
bool burnin_follow_end(struct burnin_follow *follow, const struct session *session,
                       uint64_t number);

/* Ends all of a session's subscriptions; says nothing to it. */
void burnin_follow_dismiss(struct burnin_follow *follow, const struct session *session);

/* Ends all subscriptions and tells their clients that the daemon is stopping. */
void burnin_follow_stop(struct burnin_follow *follow);

#endif
