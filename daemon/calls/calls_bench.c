/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "calls.h"

#include "daemon/server/server.h"
#include "methods.h"
#include "service.h"

void call_points(void *context, struct rpc_call *call, const struct rpc_value *values)
{
    struct service *service = context;
    struct text *text = loop_text(service->loop);
    (void)values;
    text_open(text, '[');
    for (size_t i = 0; i < service->loop->bench->point_count; i++)
        encode_point(text, service->loop->bench, &service->loop->bench->points[i]);
    text_close(text, ']');
    rpc_result(call, text);
}

static void encode_counters(struct text *text, const struct dialogue_counters *counters)
{
    text_key(text, "counters");
    text_open(text, '{');
    text_member_integer(text, "queries", (int64_t)counters->queries);
    text_member_integer(text, "timeouts", (int64_t)counters->timeouts);
    text_member_integer(text, "unexpected", (int64_t)counters->unexpected);
    text_member_integer(text, "resynchronised", (int64_t)counters->resynchronised);
    text_member_integer(text, "opened", (int64_t)counters->opened);
    text_close(text, '}');
}

static void encode_view(struct text *text, const struct station_view *view)
{
    text_member_string(text, "state", view->state);
    text_member_string(text, "identity", view->identity);
    if (view->failure != NULL) {
        text_key(text, "failure");
        encode_failure_data(text, view->failure, NULL, NULL, NULL);
    }
    text_member_string(text, "note", view->note);
    text_member_number(text, "last_heard_s", view->heard_s);
    text_member_integer(text, "queue", (int64_t)view->waiting);
    text_member_bool(text, "held", view->held);
    encode_counters(text, &view->counters);
}

static void encode_instrument(struct text *text, struct service *service, size_t index)
{
    const struct bench_instrument *instrument = &service->loop->bench->instruments[index];
    struct station *station = crew_station(service->loop->crew, index);
    text_open(text, '{');
    text_member_string(text, "name", instrument->name);
    text_member_string(text, "kind",
                       instrument->profile->kind == PROFILE_SCOPE ? "scope" : "meter");
    text_member_string(text, "profile", instrument->profile->name);
    text_member_string(text, "link", instrument->link.text);
    text_member_string(text, "calibration_due", instrument->calibration_due);
    if (station != NULL) {
        const struct station_view view = station_view(station);
        encode_view(text, &view);
    }
    text_close(text, '}');
}

void call_instruments(void *context, struct rpc_call *call, const struct rpc_value *values)
{
    struct service *service = context;
    struct text *text = loop_text(service->loop);
    (void)values;
    text_open(text, '[');
    for (size_t i = 0; i < service->loop->bench->instrument_count; i++)
        encode_instrument(text, service, i);
    text_close(text, ']');
    rpc_result(call, text);
}

/* A member of an object for each instrument, by its name. */
static void encode_stations(struct text *text, struct service *service, const char *key,
                            void (*encode)(struct text *text, const struct station_view *view))
{
    text_key(text, key);
    text_open(text, '{');
    for (size_t i = 0; i < service->loop->bench->instrument_count; i++) {
        struct station *station = crew_station(service->loop->crew, i);
        if (station == NULL)
            break;
        const struct station_view view = station_view(station);
        text_string(text, service->loop->bench->instruments[i].name);
        text_raw(text, ":", 1);
        encode(text, &view);
    }
    text_close(text, '}');
}

static void encode_waiting(struct text *text, const struct station_view *view)
{
    text_integer(text, (int64_t)view->waiting);
}

static void encode_state(struct text *text, const struct station_view *view)
{
    text_string(text, view->state);
}

static void encode_store(struct text *text, struct service *service)
{
    if (service->loop->store == NULL)
        return;
    const struct store_view view = store_view(service->loop->store);
    text_key(text, "store");
    text_open(text, '{');
    text_member_string(text, "state", store_state_name(view.state));
    if (view.failure.code != FAILURE_NONE) {
        text_key(text, "failure");
        encode_failure_data(text, &view.failure, NULL, NULL, NULL);
    }
    text_member_integer(text, "held", (int64_t)view.held);
    text_member_integer(text, "hold", (int64_t)view.hold);
    text_member_integer(text, "written", (int64_t)view.written);
    text_member_integer(text, "refused", (int64_t)view.refused);
    text_member_integer(text, "commits", (int64_t)view.commits);
    text_member_integer(text, "set_aside", (int64_t)view.set_aside);
    text_member_integer(text, "removed", (int64_t)view.removed);
    text_close(text, '}');
}

void call_health(void *context, struct rpc_call *call, const struct rpc_value *values)
{
    struct service *service = context;
    const struct loop_counters *counters = &service->loop->counters;
    char started[ENCODE_TIME_SIZE];
    struct text *text = loop_text(service->loop);
    (void)values;
    text_open(text, '{');
    text_member_string(text, "version", GRADUS_VERSION);
    text_member_number(text, "uptime_s",
                       duration_seconds(moment_since(monotonic_now(), service->started_at)));
    text_member_string(text, "started", encode_time(started, service->started));
    text_member_string(text, "settings", service->loop->bench->path);
    text_member_string(text, "settings_digest", service->loop->bench->digest);
    text_member_bool(text, "stopping", service->loop->stopping);
    text_member_integer(text, "clients", (int64_t)server_clients(service->server));
    text_member_integer(text, "instruments", (int64_t)service->loop->bench->instrument_count);
    text_member_integer(text, "points", (int64_t)service->loop->bench->point_count);
    text_member_integer(text, "requests", (int64_t)counters->requests);
    text_member_integer(text, "readings", (int64_t)counters->readings);
    text_member_integer(text, "failures", (int64_t)counters->failures);
    encode_stations(text, service, "states", encode_state);
    encode_stations(text, service, "queues", encode_waiting);
    encode_store(text, service);
    text_member_integer(text, "dropped_notifications", (int64_t)counters->dropped_notifications);
    text_close(text, '}');
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
        failure_set(failure, FAILURE_STOPPING, name, NULL, "all instruments are being let go");
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
        station_hold(station, rpc_call_peer(call), &failure);
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
