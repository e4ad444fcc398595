/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "station.h"

#include "daemon/basics/log.h"
#include "worker.h"

#include <assert.h>
#include <event2/event.h>
#include <math.h>
#include <stddef.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* The worker must be done this much before the client is to be answered, but ... */
static const double margin_ms = 50;
/* ... no more than this share of the time is kept back. */
static const double margin_share = 0.1;

struct station {
    struct crew *crew;
    struct station *next_retired;
    char name[BENCH_NAME];
    char digest[DIGEST_SIZE];
    char link[sizeof((struct link_spec *)NULL)->text];
    struct worker *worker;
    struct job *open; /* with the worker, doubly linked */
    size_t open_count;
    struct session *holder;
    struct job_status status; /* when the worker last told of it */
    struct failure failure;   /* of the last job, or why it is away */
    struct moment heard;      /* {0}: never */
    struct log_trouble trouble;
    bool known; /* the worker has told of it */
    bool away;  /* its link was broken when it was last heard of */
};

struct crew {
    struct event_base *base;
    struct mailbox *mailbox;
    struct crew_hooks hooks;
    struct station **stations;
    size_t count;
    struct station *retired;
    bool stopping;
};

static void job_link(struct station *station, struct job *job)
{
    job->station = station;
    job->previous_open = NULL;
    job->next_open = station->open;
    if (station->open != NULL)
        station->open->previous_open = job;
    station->open = job;
    station->open_count++;
}

static void job_unlink(struct job *job)
{
    struct station *station = job->station;
    if (job->previous_open != NULL)
        job->previous_open->next_open = job->next_open;
    else
        station->open = job->next_open;
    if (job->next_open != NULL)
        job->next_open->previous_open = job->previous_open;
    station->open_count--;
}

/* From here on nobody waits for the job. */
static job_done *job_settle(struct job *job)
{
    const struct crew_hooks *hooks = &job->station->crew->hooks;
    job_done *done = job->done;
    job->done = NULL;
    if (job->session != NULL && --job->session->jobs == 0)
        hooks->idle(hooks->context, job->session);
    job->session = NULL;
    if (job->alarm != NULL)
        evtimer_del(job->alarm);
    return done;
}

/* Frees the job if the worker has not begun it; else it is freed when it comes back. */
static void job_recall(struct job *job)
{
    if (!worker_cancel(job->station->worker, job))
        return;
    job_unlink(job);
    job_free(job);
}

static void refuse(struct job *job, const struct failure *failure)
{
    job_done *done = job_settle(job);
    atomic_store_explicit(&job->unwanted, true, memory_order_relaxed);
    if (done != NULL)
        done(job, failure);
    job_recall(job);
}

void station_drop(struct job *job)
{
    job_settle(job);
    atomic_store_explicit(&job->unwanted, true, memory_order_relaxed);
    job_recall(job);
}

static void on_alarm(evutil_socket_t unused, short what, void *argument)
{
    struct job *job = argument;
    struct failure failure = { 0 };
    (void)unused;
    (void)what;
    failure_set(&failure, FAILURE_DEADLINE, job->station->name, NULL,
                "no result yet, %zu requests open there", job->station->open_count);
    refuse(job, &failure);
}

static void station_moved(struct station *station, bool away)
{
    const struct crew_hooks *hooks = &station->crew->hooks;
    if (station->away == away)
        return;
    station->away = away;
    hooks->changed(hooks->context, station->name, away);
}

/* Logs a link that fails or is well again, and tells that; keeps what `instruments` shows. */
static void station_note(struct station *station, const struct job_status *status,
                         const struct failure *failure)
{
    struct moment now = monotonic_now();
    station->known = true;
    station->status = *status;
    station->failure = *failure;
    if (failure_is_of_link(failure->code))
        log_trouble_failed(&station->trouble, station->name, failure, now);
    else if (failure->code == FAILURE_NONE)
        log_trouble_over(&station->trouble, station->name, now);
    if (failure_is_of_link(failure->code) || failure->code == FAILURE_NONE)
        station_moved(station, failure->code != FAILURE_NONE);
}

/* The worker has found the instrument gone, still gone, or back again. */
static void on_news(void *owner, const struct job_status *status, const struct failure *failure)
{
    station_note(owner, status, failure);
}

/* A job that was begun says how the instrument is doing. */
static void station_learn(struct station *station, const struct job *job)
{
    const struct failure *failure = &job->capture.reading.failure;
    if (!moment_is_set(job->started))
        return;
    station_note(station, &job->status, failure);
    if (failure->code == FAILURE_NONE)
        station->heard = monotonic_now();
}

static void on_returned(struct letter *letter)
{
    struct job *job = (struct job *)(void *)((char *)letter - offsetof(struct job, letter));
    struct station *station = job->station;
    station_learn(station, job);
    job_unlink(job);
    station->crew->hooks.returned(station->crew->hooks.context, job);
    job_done *done = job_settle(job);
    if (done != NULL)
        done(job, NULL);
    job_free(job);
}

/* Refuses all that waits. What `refuse` calls may change the list, hence from the start again. */
static void station_refuse_waiting(struct station *station, const struct failure *failure)
{
    struct job *job = station->open;
    while (job != NULL) {
        if (job->done != NULL && worker_cancel(station->worker, job)) {
            job_done *done = job_settle(job);
            job_unlink(job);
            done(job, failure);
            job_free(job);
            job = station->open;
        } else {
            job = job->next_open;
        }
    }
}

static bool refuse_held(const struct station *station, struct failure *failure)
{
    return failure_set(failure, FAILURE_HELD, station->name, NULL, "%s keeps it: try again later",
                       station->holder->who.name);
}

bool station_submit(struct station *station, struct job *job, struct session *session,
                    double deadline_ms, struct failure *failure)
{
    double margin = fmin(margin_ms, margin_share * deadline_ms);
    const struct timeval wait = { (time_t)(deadline_ms / 1e3),
                                  (suseconds_t)(fmod(deadline_ms, 1e3) * 1e3) };
    if (station->crew->stopping)
        return failure_set(failure, FAILURE_STOPPING, station->name, NULL,
                           "no new work is accepted");
    if (station->holder != NULL && station->holder != session)
        return refuse_held(station, failure);
    if (session != NULL && session->jobs >= SESSION_MAX_JOBS)
        return failure_set(failure, FAILURE_OVERLOADED, station->name, NULL,
                           "this client has %zu requests open", session->jobs);
    job->alarm = evtimer_new(station->crew->base, on_alarm, job);
    if (job->alarm == NULL || evtimer_add(job->alarm, &wait) != 0)
        return failure_set(failure, FAILURE_NO_MEMORY, station->name, NULL,
                           "no timer could be set");
    job->session = session;
    if (session != NULL) {
        session->jobs++;
        job->queued.key = session->id;
    }
    job->deadline = deadline_in(deadline_ms - margin);
    job->letter.open = on_returned;
    job_link(station, job);
    worker_push(station->worker, job);
    return true;
}

bool station_hold(struct station *station, struct session *session, struct failure *failure)
{
    if (station->holder != NULL && station->holder != session)
        return refuse_held(station, failure);
    if (station->holder == NULL)
        session->holds++;
    station->holder = session;
    return true;
}

bool station_release(struct station *station, struct session *session, struct failure *failure)
{
    if (station->holder != NULL && station->holder != session)
        return failure_set(failure, FAILURE_HELD, station->name, NULL,
                           "only the client that holds it can release it");
    if (station->holder != NULL)
        session->holds--;
    station->holder = NULL;
    return true;
}

struct station_view station_view(struct station *station)
{
    size_t waiting = worker_waiting(station->worker);
    struct station_view view = { .identity = station->status.identity,
                                 .note = station->status.note,
                                 .heard_s = NAN,
                                 .waiting = waiting,
                                 .held = station->holder != NULL,
                                 .held_by =
                                     station->holder != NULL ? station->holder->who.name : NULL,
                                 .counters = station->status.counters };
    if (station->failure.code != FAILURE_NONE)
        view.failure = &station->failure;
    if (moment_is_set(station->heard))
        view.heard_s = duration_seconds(moment_since(monotonic_now(), station->heard));
    if (station->open_count > waiting)
        view.state = "busy";
    else if (!station->known)
        view.state = "new";
    else
        view.state = failure_is_of_link(station->failure.code) ? "down" : "idle";
    return view;
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
    return crew;
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
static struct session *holder_before(const struct crew *crew, const char *name)
{
    for (size_t i = 0; i < crew->count; i++)
        if (strcmp(crew->stations[i]->name, name) == 0)
            return crew->stations[i]->holder;
    return NULL;
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
    const struct worker_hooks hooks = { crew->mailbox, on_ended, on_news, station };
    station->crew = crew;
    station->holder = holder_before(crew, instrument->name);
    snprintf(station->name, sizeof station->name, "%s", instrument->name);
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
        refuse(job, &failure);
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

void crew_stop(struct crew *crew)
{
    struct failure failure = { 0 };
    failure_set(&failure, FAILURE_STOPPING, NULL, NULL, "this was still waiting");
    size_t count = crew->count;
    crew->stopping = true;
    for (size_t i = 0; i < count; i++)
        station_retire(crew->stations[i], &failure);
    crew->count = 0;
    crew_ended(crew);
}
