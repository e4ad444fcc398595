/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "calls.h"

#include "daemon/burnin/burnin_look.h"
#include "daemon/burnin/run_list.h"
#include "methods.h"
#include "order.h"
#include "service.h"

#include <stdlib.h>

/* What the call has to be answered in, milliseconds; the store is not waited for longer. */
static const double patience_ms = 10000;

/* Answers with what was put on record, once it is durable. */
static void answer(struct service *service, struct rpc_call *call, bool done, struct record *record,
                   const struct failure *failure)
{
    struct failure lost = { 0 };
    if (!done) {
        call_refuse(service->loop, call, failure);
    } else if (record != NULL) {
        answers_wait_record(service->answers, call, record, deadline_in(patience_ms));
    } else {
        failure_set(&lost, FAILURE_SYSTEM, NULL, NULL,
                    "it is done, but the store could not take it on record");
        call_refuse(service->loop, call, &lost);
    }
}

static const char *caller(const struct rpc_call *call)
{
    const struct session *session = rpc_call_peer(call);
    return session->who.name;
}

/* A hand at an input of the plan would have its places taken for the plan's points. */
static bool no_hand(const struct service *service, const char *name, struct failure *failure)
{
    const struct bench *bench = service->loop->bench;
    const struct bench_burnin *plan = bench_burnin(bench, name);
    for (size_t i = 0; plan != NULL && i < plan->point_count; i++) {
        const struct bench_point *point = plan->phases[0].points[i];
        const char *sheet = walks_at_input(service->walks, point->instrument, point->input);
        if (sheet != NULL)
            return failure_set(failure, FAILURE_HELD, name, "the end of the walk",
                               "sheet %s is being walked by hand at input %d of %s", sheet,
                               point->input, bench->instruments[point->instrument].name);
    }
    return true;
}

void call_burnin_start(void *context, struct rpc_call *call, const struct rpc_value *values)
{
    struct service *service = context;
    struct failure failure = { 0 };
    struct record *record = NULL;
    const struct rpc_value *job = &values[BURNIN_JOB];
    char *order = job->given ? order_read(job->object, true, &failure) : NULL;
    bool done = failure.code == FAILURE_NONE &&
                no_hand(service, values[BURNIN_PLAN].text, &failure) &&
                burnin_start(service->burnin, values[BURNIN_PLAN].text, caller(call), order,
                             &record, &failure);
    free(order);
    answer(service, call, done, record, &failure);
}

void call_burnin_stop(void *context, struct rpc_call *call, const struct rpc_value *values)
{
    struct service *service = context;
    struct failure failure = { 0 };
    struct record *record = NULL;
    bool done =
        burnin_stop(service->burnin, values[BURNIN_RUN].text, caller(call), &record, &failure);
    answer(service, call, done, record, &failure);
}

void call_burnin_continue(void *context, struct rpc_call *call, const struct rpc_value *values)
{
    struct service *service = context;
    struct failure failure = { 0 };
    struct record *record = NULL;
    bool done =
        burnin_continue(service->burnin, values[BURNIN_RUN].text, caller(call), &record, &failure);
    answer(service, call, done, record, &failure);
}

void call_burnin_status(void *context, struct rpc_call *call, const struct rpc_value *values)
{
    struct service *service = context;
    struct failure failure = { 0 };
    struct burnin_walk walk;
    struct burnin_row row;
    const char *run = values[BURNIN_RUN].given ? values[BURNIN_RUN].text : NULL;
    if (!burnin_walk_begin(service->burnin, run, &walk, &failure)) {
        call_refuse(service->loop, call, &failure);
        return;
    }
    struct text *text = loop_text(service->loop);
    burnin_status_open(text, service->loop->bench);
    while (burnin_walk_next(service->burnin, &walk, &row))
        burnin_status_row(text, &row);
    burnin_status_close(text);
    rpc_result(call, text);
}

void call_burnin_follow(void *context, struct rpc_call *call, const struct rpc_value *values)
{
    struct service *service = context;
    struct failure failure = { 0 };
    const char *run = values[BURNIN_RUN].given ? values[BURNIN_RUN].text : NULL;
    uint64_t number;
    bool may = run == NULL || burnin_may_follow(service->burnin, run, &failure);
    if (!may ||
        !burnin_follow_begin(service->burnin_follow, rpc_call_peer(call), run, &number, &failure)) {
        call_refuse(service->loop, call, &failure);
        return;
    }
    struct text *text = loop_text(service->loop);
    text_open(text, '{');
    text_member_integer(text, "subscription", (int64_t)number);
    text_close(text, '}');
    rpc_result(call, text);
}

void call_burnin_runs(void *context, struct rpc_call *call, const struct rpc_value *values)
{
    struct service *service = context;
    (void)values;
    if (call_has_store(service, call))
        call_ask(service, call, run_list_new());
}

/* Asks about a run; a name that is too long is no run's and no point's. */
static void ask_about(struct service *service, struct rpc_call *call, struct run_query *asked,
                      const struct rpc_value *run, const struct rpc_value *point)
{
    if (asked == NULL ||
        (call_name(run, asked->run) && (point == NULL || call_name(point, asked->point)))) {
        call_ask(service, call, asked != NULL ? &asked->query : NULL);
        return;
    }
    rpc_fail_params(call, "the name of the run or point is too long", "at most 63 characters");
    store_query_free(&asked->query);
}

void call_burnin_events(void *context, struct rpc_call *call, const struct rpc_value *values)
{
    struct service *service = context;
    if (!call_has_store(service, call))
        return;
    struct run_query *asked = run_events_new();
    if (asked != NULL) {
        asked->after = values[EVENTS_AFTER].integer;
        asked->limit = (size_t)values[EVENTS_LIMIT].integer;
    }
    ask_about(service, call, asked, &values[EVENTS_RUN], NULL);
}

void call_burnin_study(void *context, struct rpc_call *call, const struct rpc_value *values)
{
    struct service *service = context;
    if (!call_has_store(service, call))
        return;
    struct run_query *asked = run_study_new();
    if (asked != NULL)
        asked->buckets = (size_t)values[STUDY_WIDTH].integer;
    ask_about(service, call, asked, &values[STUDY_RUN], &values[STUDY_POINT]);
}
