/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "worker.h"

#include "talk.h"
#include "thread.h"

#include <pthread.h>
#include <stddef.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* Time to say good-bye to the instrument when the daemon ends. */
static const double release_ms = 2000;

struct worker {
    struct worker_hooks hooks;
    struct bench *bench; /* keeps the profile alive that the instrument borrows */
    struct instrument *instrument;
    struct letter farewell;
    pthread_t thread;

    pthread_mutex_t lock;
    pthread_cond_t changed;
    struct queue queue; /* under the lock, as are the flags */
    bool paused;
    bool stopping;

    /* What each point of a bench was settled on; the thread's alone. */
    struct bench *remembered;
    struct measure_memory *memory;
};

static struct job *job_of(struct queued *queued)
{
    return (struct job *)(void *)((char *)queued - offsetof(struct job, queued));
}

/* The next job, or NULL when the thread is to end. */
static struct job *worker_next(struct worker *worker)
{
    pthread_mutex_lock(&worker->lock);
    while (!worker->stopping && (worker->paused || worker->queue.count == 0))
        pthread_cond_wait(&worker->changed, &worker->lock);
    struct queued *queued = queue_pop(&worker->queue);
    pthread_mutex_unlock(&worker->lock);
    return queued != NULL ? job_of(queued) : NULL;
}

static void forget(struct worker *worker)
{
    free(worker->memory);
    bench_unref(worker->remembered);
    worker->memory = NULL;
    worker->remembered = NULL;
}

/* The memory of a job's point. A new bench may mean other things by its points: forget all. */
static struct measure_memory *memory_of(struct worker *worker, const struct job *job)
{
    if (worker->remembered != job->bench) {
        forget(worker);
        worker->memory = calloc(job->bench->point_count, sizeof *worker->memory);
        if (worker->memory == NULL)
            return NULL;
        worker->remembered = bench_ref(job->bench);
    }
    return &worker->memory[job->point - job->bench->points];
}

static void carry_out(struct worker *worker, struct job *job)
{
    struct capture *capture = &job->capture;
    if (job->kind == JOB_TALK) {
        talk(worker->instrument, job);
        return;
    }
    struct measure_memory *memory = memory_of(worker, job);
    if (memory == NULL) {
        struct failure failure = { 0 };
        failure_set(&failure, FAILURE_NO_MEMORY, NULL, NULL, "no memory for the points");
        reading_fail(&capture->reading, &failure);
        return;
    }
    if (job->kind == JOB_MEASURE)
        measure_point(worker->instrument, job->bench, job->point, job->repeats, job->deadline,
                      memory, &capture->reading);
    else
        measure_capture(worker->instrument, job->bench, job->point, job->duration, job->deadline,
                        memory, capture);
    job->memory = *memory;
}

static void note_status(struct worker *worker, struct job_status *status)
{
    const struct dialogue *dialogue = instrument_dialogue(worker->instrument);
    snprintf(status->identity, sizeof status->identity, "%s", dialogue_identity(dialogue));
    status->counters = *dialogue_counters(dialogue);
    status->in_step = dialogue_in_step(dialogue);
}

/* Carries a job out, unless it has waited too long; its wall time is that of its end. */
static void work(struct worker *worker, struct job *job)
{
    if (deadline_passed(job->deadline)) {
        struct failure failure = { 0 };
        failure_set(&failure, FAILURE_DEADLINE, NULL, NULL, "while waiting for the instrument");
        reading_fail(&job->capture.reading, &failure);
    } else {
        job->started = monotonic_now();
        carry_out(worker, job);
    }
    clock_gettime(CLOCK_REALTIME, &job->taken);
    note_status(worker, &job->status);
}

static void *worker_main(void *argument)
{
    struct worker *worker = argument;
    struct job *job;
    while ((job = worker_next(worker)) != NULL) {
        work(worker, job);
        mailbox_post(worker->hooks.mailbox, &job->letter);
    }
    instrument_release(worker->instrument, deadline_in(release_ms));
    forget(worker);
    mailbox_post(worker->hooks.mailbox, &worker->farewell);
    return NULL;
}

static void open_farewell(struct letter *letter)
{
    struct worker *worker =
        (struct worker *)(void *)((char *)letter - offsetof(struct worker, farewell));
    worker->hooks.ended(worker->hooks.owner);
}

static void worker_destroy(struct worker *worker)
{
    instrument_free(worker->instrument);
    pthread_cond_destroy(&worker->changed);
    pthread_mutex_destroy(&worker->lock);
    bench_unref(worker->bench);
    free(worker);
}

struct worker *worker_start(struct bench *bench, const struct bench_instrument *instrument,
                            const struct worker_hooks *hooks, struct failure *failure)
{
    struct worker *worker = calloc(1, sizeof *worker);
    if (worker == NULL) {
        failure_set(failure, FAILURE_NO_MEMORY, instrument->name, NULL, "no memory for a worker");
        return NULL;
    }
    worker->hooks = *hooks;
    worker->bench = bench_ref(bench);
    worker->farewell.open = open_farewell;
    worker->paused = true;
    pthread_mutex_init(&worker->lock, NULL);
    pthread_cond_init(&worker->changed, NULL);
    worker->instrument = instrument_new(instrument->profile, &instrument->link, instrument->name);
    if (worker->instrument == NULL || !thread_start(&worker->thread, worker_main, worker)) {
        failure_set(failure, FAILURE_NO_MEMORY, instrument->name, NULL, "no thread to be had");
        worker_destroy(worker);
        return NULL;
    }
    return worker;
}

void worker_go(struct worker *worker)
{
    pthread_mutex_lock(&worker->lock);
    worker->paused = false;
    pthread_cond_signal(&worker->changed);
    pthread_mutex_unlock(&worker->lock);
}

void worker_push(struct worker *worker, struct job *job)
{
    pthread_mutex_lock(&worker->lock);
    queue_push(&worker->queue, &job->queued);
    pthread_mutex_unlock(&worker->lock);
    pthread_cond_signal(&worker->changed); /* outside, or it would wake to find the lock held */
}

bool worker_cancel(struct worker *worker, struct job *job)
{
    pthread_mutex_lock(&worker->lock);
    bool removed = queue_remove(&worker->queue, &job->queued);
    pthread_mutex_unlock(&worker->lock);
    return removed;
}

size_t worker_waiting(struct worker *worker)
{
    pthread_mutex_lock(&worker->lock);
    size_t waiting = worker->queue.count;
    pthread_mutex_unlock(&worker->lock);
    return waiting;
}

void worker_stop(struct worker *worker)
{
    pthread_mutex_lock(&worker->lock);
    worker->stopping = true;
    pthread_cond_signal(&worker->changed);
    pthread_mutex_unlock(&worker->lock);
}

void worker_free(struct worker *worker)
{
    if (worker == NULL)
        return;
    pthread_join(worker->thread, NULL);
    worker_destroy(worker);
}
