/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "calls.h"

#include "daemon/basics/wall_clock.h"
#include "encode_looks.h"
#include "methods.h"

#include <stdlib.h>

void call_points(void *context, struct rpc_call *call, const struct rpc_value *values)
{
    struct service *service = context;
    struct text *text = loop_text(service->loop);
    const struct wall_time now = wall_time_now();
    (void)values;
    text_open(text, '[');
    for (size_t i = 0; i < service->loop->bench->point_count; i++)
        encode_point(text, service->loop->bench, &service->loop->bench->points[i], now);
    text_close(text, ']');
    rpc_result(call, text);
}

void call_instruments(void *context, struct rpc_call *call, const struct rpc_value *values)
{
    struct service *service = context;
    struct text *text = loop_text(service->loop);
    (void)values;
    text_open(text, '[');
    for (size_t i = 0; i < service->loop->bench->instrument_count; i++) {
        const struct instrument_look look = look_at_instrument(service, i);
        encode_instrument(text, &look);
    }
    text_close(text, ']');
    rpc_result(call, text);
}

void call_health(void *context, struct rpc_call *call, const struct rpc_value *values)
{
    struct service *service = context;
    const struct session *session = rpc_call_peer(call);
    struct health_look look = look_at_health(service);
    size_t count = look.bench->instrument_count;
    struct failure failure = { 0 };
    struct instrument_look *instruments = calloc(count + 1, sizeof *instruments);
    (void)values;
    look.waited = session->waited;
    if (instruments == NULL) {
        failure_no_memory(&failure, "the instruments");
        call_refuse(service->loop, call, &failure);
        return;
    }
    for (size_t i = 0; i < count; i++)
        instruments[i] = look_at_instrument(service, i);
    struct text *text = loop_text(service->loop);
    encode_health(text, &look, instruments);
    free(instruments);
    rpc_result(call, text);
}

/* The station of the instrument a call names, or NULL with the failure set. */
static struct station *station_named(const struct service *service, const char *name,
                                     struct failure *failure)
{
    size_t index;
    if (!loop_instrument(service->loop, name, &index, failure))
        return NULL;
    struct station *station = crew_station(service->loop->crew, index);
    if (station == NULL)
        failure_set(failure, FAILURE_STOPPING, name, NULL, "all instruments are being released");
    return station;
}

/* Answers true, or the failure. */
static void answer(struct service *service, struct rpc_call *call, const struct failure *failure)
{
    if (failure->code != FAILURE_NONE) {
        call_refuse(service->loop, call, failure);
        return;
    }
    struct text *text = loop_text(service->loop);
    text_bool(text, true);
    rpc_result(call, text);
}

void call_hold(void *context, struct rpc_call *call, const struct rpc_value *values)
{
    struct failure failure = { 0 };
    struct station *station = station_named(context, values[HOLD_INSTRUMENT].text, &failure);
    if (station != NULL)
        station_hold(station, rpc_call_peer(call), values[HOLD_ALONE].flag, &failure);
    answer(context, call, &failure);
}

void call_release(void *context, struct rpc_call *call, const struct rpc_value *values)
{
    struct failure failure = { 0 };
    struct station *station = station_named(context, values[HOLD_INSTRUMENT].text, &failure);
    if (station != NULL)
        station_release(station, rpc_call_peer(call), &failure);
    answer(context, call, &failure);
}
