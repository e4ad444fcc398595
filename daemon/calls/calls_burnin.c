/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "calls.h"

#include "daemon/burnin/burnin.h"
#include "daemon/daemon_priv.h"
#include "methods.h"

/* What the call has to be answered in, milliseconds; the store is not waited for longer. */
static const double patience_ms = 10000;

/* Answers with what was put on record, once it is durable. */
static void answer(struct daemon *daemon, struct rpc_call *call, bool done, struct record *record,
                   const struct failure *failure)
{
    struct failure lost = { 0 };
    if (!done) {
        daemon_refuse(daemon, call, failure, NULL, NULL, NULL);
    } else if (record != NULL) {
        answers_wait_record(daemon->answers, call, record, deadline_in(patience_ms));
    } else {
        failure_set(&lost, FAILURE_SYSTEM, NULL, NULL,
                    "it is done, but the store could not take it on record");
        daemon_refuse(daemon, call, &lost, NULL, NULL, NULL);
    }
}

void call_burnin_start(void *context, struct rpc_call *call, const struct rpc_value *values)
{
    struct daemon *daemon = context;
    struct failure failure = { 0 };
    struct record *record = NULL;
    bool done = burnin_start(daemon->burnin, values[BURNIN_PLAN].text, &record, &failure);
    answer(daemon, call, done, record, &failure);
}

void call_burnin_stop(void *context, struct rpc_call *call, const struct rpc_value *values)
{
    struct daemon *daemon = context;
    struct failure failure = { 0 };
    struct record *record = NULL;
    bool done = burnin_stop(daemon->burnin, values[BURNIN_RUN].text, &record, &failure);
    answer(daemon, call, done, record, &failure);
}

void call_burnin_status(void *context, struct rpc_call *call, const struct rpc_value *values)
{
    struct daemon *daemon = context;
    struct failure failure = { 0 };
    struct text *text = daemon_text(daemon);
    const char *run = values[BURNIN_RUN].given ? values[BURNIN_RUN].text : NULL;
    if (burnin_status(daemon->burnin, run, text, &failure))
        rpc_result(call, text);
    else
        daemon_refuse(daemon, call, &failure, NULL, NULL, NULL);
}

void call_burnin_follow(void *context, struct rpc_call *call, const struct rpc_value *values)
{
    struct daemon *daemon = context;
    struct failure failure = { 0 };
    const char *run = values[BURNIN_RUN].given ? values[BURNIN_RUN].text : NULL;
    uint64_t number;
    if (!burnin_follow_begin(daemon->burnin_follow, rpc_call_peer(call), run, &number, &failure)) {
        daemon_refuse(daemon, call, &failure, NULL, NULL, NULL);
        return;
    }
    struct text *text = daemon_text(daemon);
    text_open(text, '{');
    text_member_integer(text, "subscription", (int64_t)number);
    text_close(text, '}');
    rpc_result(call, text);
}

void call_burnin_runs(void *context, struct rpc_call *call, const struct rpc_value *values)
{
    struct daemon *daemon = context;
    struct store_query *query = call_query(daemon, call);
    (void)values;
    if (query == NULL)
        return;
    query->question = QUESTION_RUNS;
    answers_wait_query(daemon->answers, call, query);
}

/* Asks about a run; a name that is too long is no run's and no point's. */
static void ask_about(struct daemon *daemon, struct rpc_call *call, struct store_query *query,
                      const struct rpc_value *run, const struct rpc_value *point)
{
    if (call_name(run, query->run) && (point == NULL || call_name(point, query->point))) {
        answers_wait_query(daemon->answers, call, query);
        return;
    }
    rpc_fail_params(call, "run or point is too long a name", "at most 63 characters");
    store_query_free(query);
}

void call_burnin_events(void *context, struct rpc_call *call, const struct rpc_value *values)
{
    struct daemon *daemon = context;
    struct store_query *query = call_query(daemon, call);
    if (query == NULL)
        return;
    query->question = QUESTION_EVENTS;
    query->after = values[EVENTS_AFTER].integer;
    query->limit = (size_t)values[EVENTS_LIMIT].integer;
    ask_about(daemon, call, query, &values[EVENTS_RUN], NULL);
}

void call_burnin_study(void *context, struct rpc_call *call, const struct rpc_value *values)
{
    struct daemon *daemon = context;
    struct store_query *query = call_query(daemon, call);
    if (query == NULL)
        return;
    query->question = QUESTION_STUDY;
    query->buckets = (size_t)values[STUDY_WIDTH].integer;
    ask_about(daemon, call, query, &values[STUDY_RUN], &values[STUDY_POINT]);
}
