/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The handlers of the methods, one for each row of methods.c, where it is
 * said what they do. Each takes a struct service as context.
 */
#ifndef GRADUS_DAEMON_CALLS_H
#define GRADUS_DAEMON_CALLS_H

#include "daemon/bench/bench.h"
#include "daemon/server/rpc.h"
#include "daemon/store/store_query.h"

struct service;

/*
 * admit.c: whether the session a call came from may call the method; if not, the call is
 * answered. What changes something is noted in the log with who did it. For struct rpc_service.
 */
bool call_admit(void *context, struct rpc_call *call, const struct rpc_method *method);

/* calls_access.c: who one is; answered at once. */
rpc_handler call_authenticate;

/* calls_bench.c: what there is and how it is doing; answered at once. */
rpc_handler call_points;
rpc_handler call_instruments;
rpc_handler call_health;
rpc_handler call_hold;
rpc_handler call_release;

/* calls_measure.c: what an instrument has to do; answered when it is done. */
rpc_handler call_measure;
rpc_handler call_read;
rpc_handler call_capture;
rpc_handler call_talk;
rpc_handler call_follow;
rpc_handler call_unfollow;

/* calls_probing.c: a point through two loads, a probe on a square wave, shorted leads. */
rpc_handler call_unload;
rpc_handler call_compensate;
rpc_handler call_zero;

/* calls_agree.c: a place through two instruments. */
rpc_handler call_agree;

/* calls_diagnose.c: where to probe next; answered at once. */
rpc_handler call_diagnose;

/* calls_learn.c: what good units read; answered when the store has been read. */
rpc_handler call_learn;

/* calls_store.c: what the store holds; answered when it has been read. */
rpc_handler call_readings;
rpc_handler call_jobs;
rpc_handler call_verify;
rpc_handler call_prune;

/* Whether there is a store to ask; if not, the call is answered. */
bool call_has_store(struct service *service, struct rpc_call *call);

/* Answers a call with what the store says to a query, taken over; NULL: with "no memory". */
void call_ask(struct service *service, struct rpc_call *call, struct store_query *query);

/* Takes a name over, if one is given; false when it is too long to be anybody's. */
bool call_name(const struct rpc_value *value, char name[BENCH_NAME]);

/* calls_burnin.c: runs of burn-in plans; begun and stopped once that is on record. */
rpc_handler call_burnin_start;
rpc_handler call_burnin_stop;
rpc_handler call_burnin_continue;
rpc_handler call_burnin_status;
rpc_handler call_burnin_follow;
rpc_handler call_burnin_runs;
rpc_handler call_burnin_events;
rpc_handler call_burnin_study;

/* calls_walk.c: sheets walked by hand. */
rpc_handler call_walk_start;
rpc_handler call_walk_key;
rpc_handler call_walk_go;
rpc_handler call_walk_note;
rpc_handler call_walk_stop;

/* calls_methods.c: the table of methods itself; answered at once. */
rpc_handler call_methods;

/* explain.c: why a range is chosen; does not touch the instrument. */
rpc_handler call_explain;

#endif
