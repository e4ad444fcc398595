/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "station_priv.h"

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
    if (job->account != NULL)
        job->account->jobs--;
    job->account = NULL;
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

void station_refuse(struct job *job, const struct failure *failure)
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
    station_refuse(job, &failure);
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

void station_news(void *owner, const struct job_status *status, const struct failure *failure)
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

/* What `done` calls may change the list, hence from the start again. */
void station_refuse_waiting(struct station *station, const struct failure *failure)
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
    if (station->holder != NULL && station->holder != session &&
        (station->alone || !job_is_first(job)))
        return refuse_held(station, failure);
    job->alarm = evtimer_new(station->crew->base, on_alarm, job);
    if (job->alarm == NULL || evtimer_add(job->alarm, &wait) != 0)
        return failure_set(failure, FAILURE_NO_MEMORY, station->name, NULL,
                           "no timer could be set");
    if (session != NULL && !account_take_job(session->account, failure))
        return false;
    job->session = session;
    if (session != NULL) {
        session->jobs++;
        job->account = session->account;
        job->party = session->account->number;
        job->queued.key = session->id;
    }
    job->deadline = deadline_in(deadline_ms - margin);
    job->letter.open = on_returned;
    job_link(station, job);
    worker_push(station->worker, job);
    return true;
}

bool station_hold(struct station *station, struct session *session, bool alone,
                  struct failure *failure)
{
    if (station->holder != NULL && station->holder != session)
        return refuse_held(station, failure);
    if (station->holder == NULL)
        session->holds++;
    station->holder = session;
    station->alone = alone;
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
                                 .alone = station->holder != NULL && station->alone,
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
