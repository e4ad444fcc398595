/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * One piece of work for an instrument: made by the loop thread, carried out
 * by the instrument's worker, and brought back with its outcome. It holds a
 * reference to the bench it was made with, so that a reload never pulls a
 * point from under it.
 */
#ifndef GRADUS_DAEMON_JOB_H
#define GRADUS_DAEMON_JOB_H

#include "daemon/basics/mailbox.h"
#include "daemon/basics/queue.h"
#include "daemon/bench/bench.h"
#include "daemon/measure/await.h"
#include "daemon/measure/glance.h"
#include "daemon/measure/measure.h"

#include <stdatomic.h>
#include <stdint.h>

/*
 * JOB_ZERO reads shorted leads, which is no reading of the point. JOB_GLANCE
 * looks at the point's input and JOB_TOUCH measures what a probe held by hand
 * is on, with a glance behind it: whoever asked for these publishes what is to be.
 */
enum job_kind { JOB_MEASURE, JOB_ZERO, JOB_CAPTURE, JOB_TALK, JOB_GLANCE, JOB_TOUCH };

enum { JOB_IDENTITY = DIALOGUE_IDENTITY, JOB_NOTE = 256 };

/* How an instrument was doing when a job ended or its worker had something to tell. */
struct job_status {
    char identity[JOB_IDENTITY]; /* empty: not known */
    char note[JOB_NOTE];         /* what could be better about its link; empty: nothing */
    struct dialogue_counters counters;
};

struct job;

/*
 * Tells the one who asked: with `refusal` NULL the outcome is in the job,
 * else there is none and `refusal` says why. Called exactly once, on the
 * loop thread; the job is not the callee's to free.
 */
typedef void job_done(struct job *job, const struct failure *refusal);

struct station;
struct event;
struct record;

struct job {
    /* What is asked; fixed once it is handed over. */
    enum job_kind kind;
    struct bench *bench;             /* a reference */
    const struct bench_point *point; /* NULL for JOB_TALK */
    struct bench_point
        *own_point; /* the point, when it is a copy that is not in the bench, measured
                                        another way than it usually is; owned, may be NULL */
    char *order; /* JSON of the customer's job that the reading belongs to; owned; NULL: of none */
    struct measure_zeros zeros;  /* as they were known when it was handed over */
    size_t repeats;              /* JOB_MEASURE */
    double duration;             /* JOB_CAPTURE: seconds, NAN for the point's own */
    struct await await;          /* JOB_CAPTURE: what is waited for; and how that went */
    char *command;               /* JOB_TALK; owned */
    bool wants_reply;            /* JOB_TALK */
    bool wants_spread;           /* JOB_GLANCE */
    double settled;              /* JOB_TOUCH: what glances settled on, tip units */
    double tolerance;            /* JOB_TOUCH: how far reading and glance may be from that */
    struct glance_ranges ranges; /* of glances; given, and as they were left */
    struct deadline deadline;
    uint64_t party;      /* whose it is: they take turns, whatever connections they have */
    struct moment asked; /* when it was handed over */

    atomic_bool unwanted; /* set by the loop thread once nobody waits for it any more */

    /* The outcome; written by the worker before it brings the job back. */
    struct capture capture; /* its `reading` serves JOB_MEASURE too */
    struct glance glance;   /* JOB_GLANCE; JOB_TOUCH: the one behind the reading */
    bool moved;             /* JOB_TOUCH: the probe was not where it was, so there is no reading */
    char *reply;            /* JOB_TALK; owned */
    size_t reply_length;
    struct measure_memory memory; /* what the point was settled on last; of an own point it may be
                                     given, as it was after the last job, before this is begun */
    struct job_status status;
    struct wall_time taken; /* when the reading was */
    struct moment started;  /* {0}: it never was */

    /* The loop thread's alone, at all times. */
    job_done *done;          /* NULL once it was called */
    void *owner;             /* whatever `done` needs */
    struct session *session; /* who is charged for it; NULL: nobody */
    struct account *account; /* that it counts for still; NULL: none */
    struct station *station;
    struct event *alarm;
    size_t samples;        /* JOB_CAPTURE: most to hand out */
    uint64_t sequence;     /* of the reading; 0: there is none */
    struct record *record; /* the store's, good until `done` returns; NULL: not kept */
    struct moment due;     /* when it should have started; {0}: at once */
    char run[BENCH_NAME];  /* of the burn-in it is for; empty: none */
    int64_t round;         /* of that run */
    struct job *previous_open;
    struct job *next_open;

    /* Links of the queue and the mailbox. */
    struct queued queued; /* its key is the client */
    struct letter letter;
};

/* A job for a point (or NULL) of a bench, which gains a reference. NULL when memory is short. */
struct job *job_new(enum job_kind kind, struct bench *bench, const struct bench_point *point);

/* Whether it comes before all that others wait for: it is a burn-in's. */
bool job_is_first(const struct job *job);

/* Accepts NULL. */
void job_free(struct job *job);

#endif
