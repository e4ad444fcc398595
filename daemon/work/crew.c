/* SPDX-License-Identifier: GPL-3.0-or-later */
/* All instruments of the present bench, and those that a reload has retired. */
#include "station_priv.h"

#include <assert.h>
#include <event2/event.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* After crew_stop() what is under way may go on so long. */
static const struct timeval hurry_after = { 10, 0 };

/* Long repeats end here; a single acquisition ends by its instrument's own times. */
static void on_hurry(evutil_socket_t unused, short what, void *argument)
{
    struct crew *crew = argument;
    (void)unused;
    (void)what;
    for (struct station *station = crew->retired; station != NULL; station = station->next_retired)
        worker_hurry(station->worker);
}

struct crew *crew_new(struct event_base *base, struct mailbox *mailbox,
                      const struct crew_hooks *hooks)
{
    struct crew *crew = calloc(1, sizeof *crew);
    if (crew == NULL)
        return NULL;
    crew->base = base;
    crew->mailbox = mailbox;
    crew->hooks = *hooks;
    crew->hurry = evtimer_new(base, on_hurry, crew);
    if (crew->hurry != NULL)
        return crew;
    free(crew);
    return NULL;
}

static void station_free(struct station *station)
{
    worker_free(station->worker);
    free(station);
}

void crew_free(struct crew *crew)
{
    if (crew == NULL)
        return;
    assert(crew->count == 0 && crew->retired == NULL);
    if (crew->hurry != NULL)
        event_free(crew->hurry);
    free(crew->stations);
    free(crew);
}

/* Whether a retired station has not let go yet of the link this one is to open. */
static bool station_blocked(const struct station *station)
{
    const struct station *retired = station->crew->retired;
    while (retired != NULL && strcmp(retired->link, station->link) != 0)
        retired = retired->next_retired;
    return retired != NULL;
}

static void let_go(struct crew *crew)
{
    for (size_t i = 0; i < crew->count; i++)
        if (!station_blocked(crew->stations[i]))
            worker_go(crew->stations[i]->worker);
}

static void crew_ended(struct crew *crew)
{
    if (crew->stopping && crew->retired == NULL)
        crew->hooks.ended(crew->hooks.context);
}

/* The worker of a retired station has ended. */
static void on_ended(void *owner)
{
    struct station *station = owner;
    struct crew *crew = station->crew;
    struct station **link = &crew->retired;
    while (*link != station)
        link = &(*link)->next_retired;
    *link = station->next_retired;
    station_free(station);
    let_go(crew);
    crew_ended(crew);
}

/* Refuses what waits and has the worker end; the station frees itself when it has. */
static void station_retire(struct station *station, const struct failure *failure)
{
    struct crew *crew = station->crew;
    station->next_retired = crew->retired;
    crew->retired = station;
    station_refuse_waiting(station, failure);
    worker_stop(station->worker);
}

/* A client keeps what it holds when a reload puts a new station in the place of the old one. */
static void hold_as_before(struct station *station)
{
    const struct crew *crew = station->crew;
    for (size_t i = 0; i < crew->count; i++) {
        const struct station *before = crew->stations[i];
        if (strcmp(before->name, station->name) != 0)
            continue;
        station->holder = before->holder;
        station->alone = before->alone;
    }
}

static struct station *station_new(struct crew *crew, struct bench *bench,
                                   const struct bench_instrument *instrument,
                                   struct failure *failure)
{
    struct station *station = calloc(1, sizeof *station);
    if (station == NULL) {
        failure_set(failure, FAILURE_NO_MEMORY, instrument->name, NULL, "no memory for a station");
        return NULL;
    }
    const struct worker_hooks hooks = { crew->mailbox, on_ended, station_news, station };
    station->crew = crew;
    snprintf(station->name, sizeof station->name, "%s", instrument->name);
    hold_as_before(station);
    snprintf(station->digest, sizeof station->digest, "%s", instrument->digest);
    snprintf(station->link, sizeof station->link, "%s", instrument->link.text);
    station->worker = worker_start(bench, instrument, &hooks, failure);
    if (station->worker == NULL) {
        free(station);
        return NULL;
    }
    return station;
}

/* The present station that serves an instrument unchanged, or NULL. */
static struct station *unchanged(const struct crew *crew, const struct bench_instrument *instrument)
{
    for (size_t i = 0; i < crew->count; i++)
        if (strcmp(crew->stations[i]->name, instrument->name) == 0 &&
            strcmp(crew->stations[i]->digest, instrument->digest) == 0)
            return crew->stations[i];
    return NULL;
}

static bool contains(struct station *const *stations, size_t count, const struct station *station)
{
    for (size_t i = 0; i < count; i++)
        if (stations[i] == station)
            return true;
    return false;
}

/* Retires those of `from` that are not in `keep`. */
static void retire_others(struct station *const *from, size_t from_count,
                          struct station *const *keep, size_t keep_count)
{
    struct failure failure = { 0 };
    failure_set(&failure, FAILURE_SETTINGS, NULL, NULL,
                "new settings were loaded while this was waiting, ask again");
    for (size_t i = 0; i < from_count; i++)
        if (!contains(keep, keep_count, from[i]))
            station_retire(from[i], &failure);
}

bool crew_deploy(struct crew *crew, struct bench *bench, struct failure *failure)
{
    size_t count = 0;
    struct station **stations = calloc(bench->instrument_count + 1, sizeof(struct station *));
    if (stations == NULL)
        return failure_no_memory(failure, "the instruments");
    for (; count < bench->instrument_count; count++) {
        const struct bench_instrument *instrument = &bench->instruments[count];
        stations[count] = unchanged(crew, instrument);
        if (stations[count] == NULL)
            stations[count] = station_new(crew, bench, instrument, failure);
        if (stations[count] == NULL)
            break;
    }
    if (count < bench->instrument_count) {
        retire_others(stations, count, crew->stations, crew->count);
        free(stations);
        return false;
    }
    struct station **before = crew->stations;
    size_t before_count = crew->count;
    crew->stations = stations;
    crew->count = count;
    retire_others(before, before_count, stations, count);
    free(before);
    let_go(crew);
    return true;
}

struct station *crew_station(struct crew *crew, size_t instrument)
{
    if (crew->stopping)
        return NULL;
    assert(instrument < crew->count);
    return crew->stations[instrument];
}

/* The first job a session still waits for, or NULL. */
static struct job *job_of_session(const struct station *station, const struct session *session)
{
    struct job *job = station->open;
    while (job != NULL && (job->done == NULL || job->session != session))
        job = job->next_open;
    return job;
}

static void station_dismiss(struct station *station, struct session *session)
{
    struct failure failure = { 0 };
    struct job *job;
    failure_set(&failure, FAILURE_STOPPING, NULL, NULL, "the client has gone");
    while (session->jobs > 0 && (job = job_of_session(station, session)) != NULL)
        station_refuse(job, &failure);
    if (station->holder == session)
        station->holder = NULL;
}

void crew_dismiss(struct crew *crew, struct session *session)
{
    for (size_t i = 0; i < crew->count; i++)
        station_dismiss(crew->stations[i], session);
    for (struct station *station = crew->retired; station != NULL; station = station->next_retired)
        station_dismiss(station, session);
}

const char *crew_late(const struct crew *crew, struct moment now)
{
    for (size_t i = 0; i < crew->count; i++)
        if (worker_is_late(crew->stations[i]->worker, now))
            return crew->stations[i]->name;
    const struct station *retired = crew->retired;
    while (retired != NULL && !worker_is_late(retired->worker, now))
        retired = retired->next_retired;
    return retired != NULL ? retired->name : NULL;
}

void crew_stop(struct crew *crew)
{
    struct failure failure = { 0 };
    failure_set(&failure, FAILURE_STOPPING, NULL, NULL, "this was still waiting");
    size_t count = crew->count;
    crew->stopping = true;
    for (size_t i = 0; i < count; i++)
        station_retire(crew->stations[i], &failure);
    crew->count = 0;
    evtimer_add(crew->hurry, &hurry_after);
    crew_ended(crew);
}
