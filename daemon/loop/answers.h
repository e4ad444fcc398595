/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Calls that wait for the store: a measured reading is answered once it is
 * durable, with `stored` true and its id. When the store is in trouble, or
 * has not written it in time, it is answered all the same, with `stored`
 * false and a warning. Questions to the store are answered when it is.
 */
#ifndef GRADUS_DAEMON_ANSWERS_H
#define GRADUS_DAEMON_ANSWERS_H

#include "daemon/server/rpc.h"
#include "daemon/store/store_query.h"
#include "daemon/store/store_record.h"
#include "daemon/work/session.h"
#include "drivers/basics/deadline.h"

struct answers;
struct loop;

/* No call waits yet; joins what the loop publishes. NULL when memory is short. */
struct answers *answers_new(struct loop *loop);

/* No call may wait any more. Accepts NULL. */
void answers_free(struct answers *answers);

/*
 * Answers a call with a record that the store has taken, now or when it is
 * durable. `deadline` is when it would have to be answered at the latest.
 */
void answers_wait_record(struct answers *answers, struct rpc_call *call, struct record *record,
                         struct deadline deadline);

/* Answers a call with what the store says to a query, which is taken over. */
void answers_wait_query(struct answers *answers, struct rpc_call *call, struct store_query *query);

/* Ends the waiting calls of a session that goes. */
void answers_dismiss(struct answers *answers, const struct session *session);

/* Whether no call waits. */
bool answers_none(const struct answers *answers);

#endif
