/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "calls.h"

#include "daemon/basics/moment.h"
#include "methods.h"
#include "service.h"

#include <stdio.h>

struct store_query *call_query(struct service *service, struct rpc_call *call)
{
    struct failure failure = { 0 };
    struct store_query *query = NULL;
    if (service->loop->store == NULL)
        failure_set(&failure, FAILURE_SETTINGS, service->loop->bench->path,
                    "store = { path = ...; }", "readings are not kept");
    else if ((query = store_query_new()) == NULL)
        failure_set(&failure, FAILURE_NO_MEMORY, NULL, NULL, "no memory for a query");
    if (query == NULL)
        call_refuse(service->loop, call, &failure);
    return query;
}

static bool take_moment(const struct rpc_value *value, int64_t *moment)
{
    return !value->given || moment_read(value->text, moment);
}

bool call_name(const struct rpc_value *value, char name[BENCH_NAME])
{
    return !value->given || snprintf(name, BENCH_NAME, "%s", value->text) < BENCH_NAME;
}

void call_readings(void *context, struct rpc_call *call, const struct rpc_value *values)
{
    struct service *service = context;
    struct store_query *query = call_query(service, call);
    if (query == NULL)
        return;
    query->limit = (size_t)values[READINGS_LIMIT].integer;
    if (values[READINGS_AFTER].given)
        query->after = values[READINGS_AFTER].integer;
    if (values[READINGS_BEFORE].given)
        query->before = values[READINGS_BEFORE].integer;
    if (!take_moment(&values[READINGS_SINCE], &query->since_ns) ||
        !take_moment(&values[READINGS_UNTIL], &query->until_ns)) {
        rpc_fail_params(call, "since or until is no moment",
                        "2026-01-31, 2026-01-31T23:59 or 2026-01-31T23:59:59.999Z, all UTC");
        store_query_free(query);
    } else if (!call_name(&values[READINGS_POINT], query->point) ||
               !call_name(&values[READINGS_RUN], query->run)) {
        rpc_fail_params(call, "point or run is too long a name", "at most 63 characters");
        store_query_free(query);
    } else {
        answers_wait_query(service->answers, call, query);
    }
}

void call_verify(void *context, struct rpc_call *call, const struct rpc_value *values)
{
    struct service *service = context;
    struct store_query *query = call_query(service, call);
    (void)values;
    if (query == NULL)
        return;
    query->question = QUESTION_VERIFY;
    answers_wait_query(service->answers, call, query);
}
