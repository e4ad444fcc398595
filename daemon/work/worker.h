/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * One thread for one instrument. It owns the instrument and its link, takes
 * jobs from a fair queue, carries them out in straight-line blocking code,
 * and posts them back. A burn-in's jobs come before all others: where one waits,
 * another's measurement gives way between two acquisitions and goes on after it. Between
 * repeats one single reading of anybody's may come, so that long averages hold nobody up. Nobody else touches the link. In between it watches
 * whether the instrument is still there (watch.h).
 */
#ifndef GRADUS_DAEMON_WORKER_H
#define GRADUS_DAEMON_WORKER_H

#include "job.h"

struct worker;

/* Called on the loop thread when the thread has let go of the instrument. */
typedef void worker_ended(void *owner);

/*
 * Called on the loop thread when a worker has found out something without
 * being asked: that its instrument is away, and why, or that it is back
 * (`failure` holds none then). Both are the worker's.
 */
typedef void worker_news(void *owner, const struct job_status *status,
                         const struct failure *failure);

/* What a worker needs to know of its surroundings. */
struct worker_hooks {
    struct mailbox *mailbox; /* must outlive the worker */
    worker_ended *ended;
    worker_news *news;
    void *owner; /* handed to both */
};

/*
 * Starts the thread for an instrument of a bench, which gains a reference.
 * It begins paused: jobs are taken, but nothing is opened before
 * worker_go(). NULL with the failure set when there is no memory or thread.
 */
struct worker *worker_start(struct bench *bench, const struct bench_instrument *instrument,
                            const struct worker_hooks *hooks, struct failure *failure);

/* Lets a paused worker begin. */
void worker_go(struct worker *worker);

/* Hands a job over; it comes back as its letter. Not after worker_stop(). */
void worker_push(struct worker *worker, struct job *job);

/* Takes a waiting job back: true, and it is the caller's again; false when it was begun. */
bool worker_cancel(struct worker *worker, struct job *job);

/* Jobs that wait, the one being carried out not counted. */
size_t worker_waiting(struct worker *worker);

/* Whether it should have been through by now with what it is at: its thread is stuck. */
bool worker_is_late(struct worker *worker, struct moment now);

/*
 * Asks the thread to end once the job it has begun and those that wait are
 * back (cancel those first). It then leaves the instrument in local, closes
 * the link, and `ended` is called.
 */
void worker_stop(struct worker *worker);

/* Has what is under way end between two acquisitions, as nobody can wait for it; after worker_stop(). */
void worker_hurry(struct worker *worker);

/* Waits for the thread, which was told to stop, and frees. Accepts NULL. */
void worker_free(struct worker *worker);

#endif
