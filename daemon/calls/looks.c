/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "looks.h"

#include "daemon/server/server.h"

struct instrument_look look_at_instrument(const struct service *service, size_t index)
{
    struct instrument_look look = { .instrument = &service->loop->bench->instruments[index] };
    struct station *station = crew_station(service->loop->crew, index);
    look.attended = station != NULL;
    if (look.attended)
        look.view = station_view(station);
    return look;
}

struct health_look look_at_health(const struct service *service)
{
    const struct loop *loop = service->loop;
    struct health_look look = {
        .up = moment_since(monotonic_now(), service->started_at),
        .started = service->started,
        .bench = loop->bench,
        .stopping = loop->stopping,
        .clients = server_clients(service->server),
        .counters = loop->counters,
        .stretches = loop->stretches,
        .keeps = loop->store != NULL,
    };
    if (look.keeps)
        look.store = store_view(loop->store);
    return look;
}
