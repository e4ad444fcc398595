/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "calls.h"

#include "methods.h"
#include "order.h"
#include "service.h"

#include <stdlib.h>
#include <string.h>

/* What a burn-in measures hangs on its input; a hand there would make readings of it. */
static bool no_burnin(const struct service *service, const char *name, struct failure *failure)
{
    const struct bench *bench = service->loop->bench;
    const struct bench_sheet *sheet = loop_sheet(service->loop, name, failure);
    for (size_t i = 0; sheet != NULL && i < sheet->place_count; i++) {
        const struct bench_point *point = &bench->points[sheet->places[i].point];
        const char *instrument = bench->instruments[point->instrument].name;
        const char *run = burnin_at_input(service->burnin, instrument, point->input);
        if (run != NULL)
            return failure_set(failure, FAILURE_HELD, name, "the end of the burn-in",
                               "burn-in %s measures input %d of %s", run, point->input, instrument);
    }
    return sheet != NULL;
}

void call_walk_start(void *context, struct rpc_call *call, const struct rpc_value *values)
{
    struct service *service = context;
    struct failure failure = { 0 };
    bool resumed;
    const struct rpc_value *job = &values[WALK_JOB];
    char *order = job->given ? order_read(job->object, false, &failure) : NULL;
    const struct walk_order wanted = { .sheet = values[WALK_SHEET].text,
                                       .job = order,
                                       .anew = values[WALK_ANEW].given && values[WALK_ANEW].flag,
                                       .led = values[WALK_LED].given && values[WALK_LED].flag };
    const struct walk *walk = NULL;
    if (failure.code == FAILURE_NONE && no_burnin(service, wanted.sheet, &failure))
        walk = walk_begin(service->walks, rpc_call_peer(call), &wanted, &resumed, &failure);
    free(order);
    if (walk == NULL) {
        call_refuse(service->loop, call, &failure);
        return;
    }
    struct text *text = loop_text(service->loop);
    walk_encode(text, walk, resumed);
    rpc_result(call, text);
}

static void answer(struct service *service, struct rpc_call *call, bool done,
                   const struct failure *failure)
{
    if (!done) {
        call_refuse(service->loop, call, failure);
        return;
    }
    struct text *text = loop_text(service->loop);
    text_bool(text, true);
    rpc_result(call, text);
}

void call_walk_key(void *context, struct rpc_call *call, const struct rpc_value *values)
{
    static const char *const names[WALK_KEYS] = {
        [WALK_KEY_ON] = "on",
        [WALK_KEY_BACK] = "back",
        [WALK_KEY_AGAIN] = "again",
        [WALK_KEY_SKIP] = "skip",
    };
    struct service *service = context;
    struct failure failure = { 0 };
    uint64_t number = (uint64_t)values[WALK_SUBSCRIPTION].integer;
    enum walk_key key = 0;
    while (key < WALK_KEYS && strcmp(names[key], values[WALK_KEY].text) != 0)
        key++;
    if (key == WALK_KEYS) {
        rpc_fail_params(call, "there is no such key", "on, back, again or skip");
        return;
    }
    bool done = walk_key(service->walks, rpc_call_peer(call), number, key, &failure);
    answer(service, call, done, &failure);
}

void call_walk_go(void *context, struct rpc_call *call, const struct rpc_value *values)
{
    struct service *service = context;
    struct failure failure = { 0 };
    uint64_t number = (uint64_t)values[WALK_SUBSCRIPTION].integer;
    bool done =
        walk_go(service->walks, rpc_call_peer(call), number, values[WALK_POINT].text, &failure);
    answer(service, call, done, &failure);
}

void call_walk_note(void *context, struct rpc_call *call, const struct rpc_value *values)
{
    struct service *service = context;
    struct failure failure = { 0 };
    uint64_t number = (uint64_t)values[WALK_SUBSCRIPTION].integer;
    bool done =
        walk_note(service->walks, rpc_call_peer(call), number, values[WALK_NOTE].text, &failure);
    answer(service, call, done, &failure);
}

void call_walk_stop(void *context, struct rpc_call *call, const struct rpc_value *values)
{
    struct service *service = context;
    struct failure failure = { 0 };
    uint64_t number = (uint64_t)values[WALK_SUBSCRIPTION].integer;
    bool for_good = values[WALK_FOR_GOOD].given && values[WALK_FOR_GOOD].flag;
    bool done = walk_leave(service->walks, rpc_call_peer(call), number, for_good) ||
                failure_set(&failure, FAILURE_SETTINGS, NULL, "the number that walk.start answered",
                            "this client has no such walk");
    answer(service, call, done, &failure);
}
