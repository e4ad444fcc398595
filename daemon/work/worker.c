/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "worker.h"

#include "daemon/basics/progress.h"
#include "daemon/basics/thread.h"
#include "daemon/basics/wall_clock.h"
#include "daemon/measure/acquire.h"
#include "talk.h"
#include "watch.h"

#include <errno.h>
#include <math.h>
#include <pthread.h>
#include <stddef.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* Time to say good-bye to the instrument when the daemon ends. */
static const double release_ms = 2000;

/* So long after its deadline a job is through, with whatever brings the link back into step. */
static const struct duration after_deadline = { 20 * SECOND_NS };

/* Longest that a look at an idle instrument, or letting it go, can take. */
static const struct duration longest_look = { 30 * SECOND_NS };

static void work(struct worker *worker, struct job *job);

/* A job that others may interrupt. */
struct turn {
    struct worker *worker;
    const struct job *job;
};

struct worker {
    struct worker_hooks hooks;
    struct bench *bench; /* keeps the profile alive that the instrument borrows */
    struct instrument *instrument;
    struct letter farewell;
    pthread_t thread;
    struct progress progress;

    pthread_mutex_t lock;
    pthread_cond_t changed;
    struct queue first;       /* of burn-ins; under the lock, as are the next three */
    struct party_queue queue; /* of everybody else */
    bool paused;
    bool stopping;
    atomic_bool hurried; /* what is under way is to end between two acquisitions */

    /* What each point of a bench was settled on; the thread's alone. */
    struct bench *remembered;
    struct measure_memory *memory;
    struct watch watch; /* the thread's alone, too */
};

/* Something to tell that nobody asked for. */
struct news {
    struct letter letter;
    const struct worker *worker;
    struct job_status status;
    struct failure failure;
};

static struct job *job_of(struct queued *queued)
{
    return (struct job *)(void *)((char *)queued - offsetof(struct job, queued));
}

/* Waits for a change, under the lock. False when it is time to look at the instrument. */
static bool worker_wait(struct worker *worker)
{
    const struct timespec due = moment_timespec(worker->watch.next);
    if (!moment_is_set(worker->watch.next))
        return pthread_cond_wait(&worker->changed, &worker->lock) == 0;
    return pthread_cond_timedwait(&worker->changed, &worker->lock, &due) != ETIMEDOUT;
}

/*
 * Waits for the next job, or until it is time to look at the instrument:
 * *job is NULL then. False when the thread is to end.
 */
static bool worker_next(struct worker *worker, struct job **job)
{
    bool waiting = true;
    pthread_mutex_lock(&worker->lock);
    while (waiting && !worker->stopping &&
           (worker->paused || worker->first.count + worker->queue.count == 0))
        waiting = worker_wait(worker);
    struct queued *queued =
        worker->first.count > 0 ? queue_pop(&worker->first) : party_pop(&worker->queue);
    bool go_on = queued != NULL || !worker->stopping;
    pthread_mutex_unlock(&worker->lock);
    *job = queued != NULL ? job_of(queued) : NULL;
    return go_on;
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
    return &worker->memory[job->point->index];
}

static bool is_wanted(void *context)
{
    const struct turn *turn = context;
    return !atomic_load_explicit(&turn->job->unwanted, memory_order_relaxed);
}

static bool is_due(void *context, bool repeats)
{
    struct worker *worker = ((const struct turn *)context)->worker;
    pthread_mutex_lock(&worker->lock);
    bool due = worker->first.count > 0 || (repeats && worker->queue.count > 0);
    pthread_mutex_unlock(&worker->lock);
    return due || atomic_load_explicit(&worker->hurried, memory_order_relaxed);
}

/* Whether a job is over soon and leaves the instrument as any measurement does. */
static bool is_short(const struct queued *queued)
{
    const struct job *job =
        (const struct job *)(const void *)((const char *)queued - offsetof(struct job, queued));
    bool measures = job->kind == JOB_MEASURE || job->kind == JOB_GLANCE || job->kind == JOB_TOUCH;
    return measures && job->repeats == 1;
}

/* The next job of a burn-in; amid repeats a short one of anybody's, once. NULL: there is none. */
static struct job *next_amid(struct worker *worker, bool *repeats)
{
    pthread_mutex_lock(&worker->lock);
    struct queued *queued = queue_pop(&worker->first);
    if (queued == NULL && *repeats) {
        queued = party_pop_fit(&worker->queue, is_short);
        *repeats = false;
    }
    pthread_mutex_unlock(&worker->lock);
    return queued != NULL ? job_of(queued) : NULL;
}

/* Says by when a job will be through. */
static void begin(struct worker *worker, const struct job *job)
{
    progress_begin(&worker->progress, moment_plus(job->deadline.at, after_deadline));
}

/* Carries out, amid another job, what comes before it. */
static bool give_way(void *context, bool repeats, struct failure *failure)
{
    const struct turn *turn = context;
    struct worker *worker = turn->worker;
    struct job *job;
    while ((job = next_amid(worker, &repeats)) != NULL) {
        begin(worker, job);
        work(worker, job);
        mailbox_post(worker->hooks.mailbox, &job->letter);
        begin(worker, turn->job);
    }
    return !atomic_load_explicit(&worker->hurried, memory_order_relaxed) ||
           failure_set(failure, FAILURE_STOPPING, NULL, NULL, "it was still being measured");
}

static void take_glance(struct worker *worker, struct job *job, const struct courtesy *courtesy)
{
    struct failure failure = { 0 };
    if (!glance(worker->instrument, job->bench, job->point, &job->zeros.own, job->wants_spread,
                job->deadline, courtesy, &job->ranges, &job->glance, &failure))
        reading_fail(&job->capture.reading, &failure);
}

/* A reading counts only if the probe is, behind it, still on what it was on before. */
static void look_behind(struct worker *worker, struct job *job, const struct courtesy *courtesy)
{
    struct reading *reading = &job->capture.reading;
    struct failure failure = { 0 };
    bool good = reading->failure.code == FAILURE_NONE;
    bool far = good && !(fabs(reading->value - job->settled) <= job->tolerance);
    bool may_be_moved = reading->failure.code == FAILURE_UNSTABLE ||
                        reading->failure.code == FAILURE_OVER_RANGE ||
                        reading->failure.code == FAILURE_NO_VALUE;
    if (!good && !may_be_moved)
        return;
    if (!far && glance(worker->instrument, job->bench, job->point, &job->zeros.own, false,
                       job->deadline, courtesy, &job->ranges, &job->glance, &failure))
        far = !(fabs(job->glance.value - job->settled) <= job->tolerance);
    job->moved = far;
    if (far)
        failure_set(&failure, FAILURE_UNSTABLE, NULL, "a probe that stays where it is",
                    "the probe moved while it was read");
    if (good && failure.code != FAILURE_NONE)
        reading_fail(reading, &failure);
}

/* Measures with what is known of the point, and remembers what that came to. */
static void measure(struct worker *worker, struct job *job, const struct courtesy *courtesy)
{
    struct capture *capture = &job->capture;
    struct failure failure = { 0 };
    struct measure_memory *memory = job->own_point == NULL ? memory_of(worker, job) : &job->memory;
    if (memory == NULL) {
        failure_no_memory(&failure, "the points");
        reading_fail(&capture->reading, &failure);
        return;
    }
    if (job->await.given) {
        measure_await(worker->instrument, job->bench, job->point, job->duration, job->deadline,
                      courtesy, &job->await, capture);
        return;
    }
    /* The job's own while it lasts: what comes between may be of another bench. */
    job->memory = *memory;
    if (job->kind != JOB_CAPTURE)
        measure_point(worker->instrument, job->bench, job->point, &job->zeros, job->repeats,
                      job->deadline, courtesy, &job->memory, &capture->reading);
    else
        measure_capture(worker->instrument, job->bench, job->point, job->duration, job->deadline,
                        courtesy, &job->memory, capture);
    if (job->own_point == NULL && worker->remembered == job->bench)
        worker->memory[job->point->index] = job->memory;
}

static void carry_out(struct worker *worker, struct job *job)
{
    struct failure failure = { 0 };
    struct turn turn = { worker, job };
    const struct courtesy courtesy = { &turn, is_wanted, is_due, give_way };
    const struct courtesy *others = job_is_first(job) ? NULL : &courtesy;
    if (!watch_reach(&worker->watch, job->asked, job->deadline, &failure)) {
        reading_fail(&job->capture.reading, &failure);
        return;
    }
    switch (job->kind) {
    case JOB_TALK:
        talk(worker->instrument, job);
        break;
    case JOB_GLANCE:
        take_glance(worker, job, others);
        break;
    case JOB_TOUCH:
        measure(worker, job, others);
        look_behind(worker, job, others);
        break;
    default:
        measure(worker, job, others);
    }
}

static void note_status(struct worker *worker, struct job_status *status)
{
    const struct dialogue *dialogue = instrument_dialogue(worker->instrument);
    snprintf(status->identity, sizeof status->identity, "%s", dialogue_identity(dialogue));
    snprintf(status->note, sizeof status->note, "%s", dialogue_note(dialogue));
    status->counters = *dialogue_counters(dialogue);
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
        watch_after(&worker->watch, &job->capture.reading.failure);
    }
    job->taken = wall_time_now();
    note_status(worker, &job->status);
}

static void open_news(struct letter *letter)
{
    struct news *news = (struct news *)(void *)((char *)letter - offsetof(struct news, letter));
    const struct worker_hooks *hooks = &news->worker->hooks;
    hooks->news(hooks->owner, &news->status, &news->failure);
    free(news);
}

/* What cannot be told for lack of memory shows when the instrument is asked for next. */
static void tell(struct worker *worker, const struct failure *failure)
{
    struct news *news = calloc(1, sizeof *news);
    if (news == NULL)
        return;
    news->letter.open = open_news;
    news->worker = worker;
    news->failure = *failure;
    note_status(worker, &news->status);
    mailbox_post(worker->hooks.mailbox, &news->letter);
}

static void look(struct worker *worker)
{
    struct failure failure = { 0 };
    if (watch_look(&worker->watch, &failure))
        tell(worker, &failure);
}

static void *worker_main(void *argument)
{
    struct worker *worker = argument;
    struct job *job;
    while (worker_next(worker, &job)) {
        if (job == NULL) {
            progress_begin(&worker->progress, moment_plus(monotonic_now(), longest_look));
            look(worker);
        } else {
            begin(worker, job);
            work(worker, job);
            mailbox_post(worker->hooks.mailbox, &job->letter);
        }
        progress_end(&worker->progress);
    }
    progress_begin(&worker->progress, moment_plus(monotonic_now(), longest_look));
    instrument_release(worker->instrument, deadline_in(release_ms));
    progress_end(&worker->progress);
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

/* A condition whose timed waits follow the monotonic clock. */
static void init_condition(pthread_cond_t *condition)
{
    pthread_condattr_t attributes;
    pthread_condattr_init(&attributes);
    pthread_condattr_setclock(&attributes, CLOCK_MONOTONIC);
    pthread_cond_init(condition, &attributes);
    pthread_condattr_destroy(&attributes);
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
    init_condition(&worker->changed);
    worker->instrument = instrument_new(instrument->profile, &instrument->link, instrument->name);
    worker->watch = watch_begin(worker->instrument, &instrument->profile->protocol);
    if (worker->instrument == NULL || !thread_start(&worker->thread, worker_main, worker)) {
        failure_set(failure, FAILURE_NO_MEMORY, instrument->name, NULL,
                    "no thread could be started");
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
    job->asked = monotonic_now();
    pthread_mutex_lock(&worker->lock);
    if (job_is_first(job))
        queue_push(&worker->first, &job->queued);
    else
        party_push(&worker->queue, job->party, &job->queued);
    pthread_mutex_unlock(&worker->lock);
    pthread_cond_signal(&worker->changed); /* outside, or it would wake to find the lock held */
}

bool worker_cancel(struct worker *worker, struct job *job)
{
    pthread_mutex_lock(&worker->lock);
    bool removed = job_is_first(job) ? queue_remove(&worker->first, &job->queued)
                                     : party_remove(&worker->queue, job->party, &job->queued);
    pthread_mutex_unlock(&worker->lock);
    return removed;
}

size_t worker_waiting(struct worker *worker)
{
    pthread_mutex_lock(&worker->lock);
    size_t waiting = worker->first.count + worker->queue.count;
    pthread_mutex_unlock(&worker->lock);
    return waiting;
}

bool worker_is_late(struct worker *worker, struct moment now)
{
    return progress_is_late(&worker->progress, now);
}

void worker_stop(struct worker *worker)
{
    pthread_mutex_lock(&worker->lock);
    worker->stopping = true;
    pthread_cond_signal(&worker->changed);
    pthread_mutex_unlock(&worker->lock);
}

void worker_hurry(struct worker *worker)
{
    atomic_store_explicit(&worker->hurried, true, memory_order_relaxed);
}

void worker_free(struct worker *worker)
{
    if (worker == NULL)
        return;
    pthread_join(worker->thread, NULL);
    worker_destroy(worker);
}
