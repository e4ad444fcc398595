/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "calls.h"

#include "daemon/basics/wall_clock.h"
#include "daemon/store/store_check.h"
#include "daemon/store/store_orders.h"
#include "daemon/store/store_page.h"
#include "methods.h"
#include "service.h"

#include <stdio.h>

bool call_has_store(struct service *service, struct rpc_call *call)
{
    struct failure failure = { 0 };
    if (service->loop->store != NULL)
        return true;
    failure_set(&failure, FAILURE_SETTINGS, service->loop->bench->path, "store = { path = ...; }",
                "readings are not kept");
    call_refuse(service->loop, call, &failure);
    return false;
}

void call_ask(struct service *service, struct rpc_call *call, struct store_query *query)
{
    struct failure failure = { 0 };
    if (query != NULL) {
        answers_wait_query(service->answers, call, query);
        return;
    }
    failure_no_memory(&failure, "a query");
    call_refuse(service->loop, call, &failure);
}

static bool read_time(const struct rpc_value *value, struct wall_time *time)
{
    return !value->given || wall_time_read(value->text, time);
}

bool call_name(const struct rpc_value *value, char name[BENCH_NAME])
{
    return !value->given || snprintf(name, BENCH_NAME, "%s", value->text) < BENCH_NAME;
}

/* What is asked for; false, and the call is answered, when it is none that can be. */
static bool read_page(struct store_page *page, struct rpc_call *call,
                      const struct rpc_value *values)
{
    page->limit = (size_t)values[READINGS_LIMIT].integer;
    if (values[READINGS_AFTER].given)
        page->after = values[READINGS_AFTER].integer;
    if (values[READINGS_BEFORE].given)
        page->before = values[READINGS_BEFORE].integer;
    if (!read_time(&values[READINGS_SINCE], &page->since) ||
        !read_time(&values[READINGS_UNTIL], &page->until))
        rpc_fail_params(call, "\"since\" or \"until\" is not a time",
                        "2026-01-31, 2026-01-31T23:59 or 2026-01-31T23:59:59.999Z, all UTC");
    else if (!call_name(&values[READINGS_POINT], page->point) ||
             !call_name(&values[READINGS_RUN], page->run) ||
             !call_name(&values[READINGS_JOB], page->job) ||
             !call_name(&values[READINGS_SERIAL], page->serial))
        rpc_fail_params(call, "point, run, job or serial is too long", "at most 63 characters");
    else
        return true;
    return false;
}

void call_readings(void *context, struct rpc_call *call, const struct rpc_value *values)
{
    struct service *service = context;
    if (!call_has_store(service, call))
        return;
    struct store_page *page = store_page_new();
    struct failure unknown = { 0 };
    if (page != NULL && values[READINGS_POINT].given &&
        loop_point(service->loop, values[READINGS_POINT].text, &unknown) == NULL) {
        page->strange = true;
        snprintf(page->guess, sizeof page->guess, "%.159s", unknown.expected);
    }
    if (page == NULL || read_page(page, call, values))
        call_ask(service, call, page != NULL ? &page->query : NULL);
    else
        store_query_free(&page->query);
}

void call_jobs(void *context, struct rpc_call *call, const struct rpc_value *values)
{
    struct service *service = context;
    (void)values;
    if (call_has_store(service, call))
        call_ask(service, call, store_orders_new(&service->loop->bench->shop));
}

void call_verify(void *context, struct rpc_call *call, const struct rpc_value *values)
{
    struct service *service = context;
    (void)values;
    if (call_has_store(service, call))
        call_ask(service, call, store_check_new(store_anchor_key(service->loop->store)));
}

/* Puts on record who let go of what. */
static void tell_allowed(struct service *service, const struct rpc_call *call,
                         struct wall_time before)
{
    const struct session *session = rpc_call_peer(call);
    struct text body = { 0 };
    text_open(&body, '{');
    encode_wall_time(&body, "before", before);
    text_member_string(&body, "by", session->who.name);
    text_close(&body, '}');
    struct happening event = {
        .kind = EVENT_REMOVAL_ALLOWED, .subject = "", .plan = "", .body = &body
    };
    publish_event(&service->loop->publish, &event);
    text_free(&body);
}

void call_prune(void *context, struct rpc_call *call, const struct rpc_value *values)
{
    struct service *service = context;
    struct wall_time before = { 0 };
    struct failure failure = { 0 };
    if (!call_has_store(service, call))
        return;
    if (!read_time(&values[PRUNE_BEFORE], &before)) {
        rpc_fail_params(call, "\"before\" is not a time", "2026-01-31T23:59:59.999Z, UTC");
    } else if (!store_allow(service->loop->store, before, &failure)) {
        call_refuse(service->loop, call, &failure);
    } else {
        tell_allowed(service, call, before);
        struct text *text = loop_text(service->loop);
        text_bool(text, true);
        rpc_result(call, text);
    }
}
