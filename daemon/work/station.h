/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * One instrument as the loop thread sees it: its worker, the jobs it has
 * open, who holds it, and how it was doing when it last reported. The crew
 * is all of them, one for each instrument of the present bench, and those
 * that a reload has retired and that still have to let go of their links.
 */
#ifndef GRADUS_DAEMON_STATION_H
#define GRADUS_DAEMON_STATION_H

#include "job.h"
#include "session.h"

struct crew;
struct station;
struct event_base;

/* What the crew calls, on the loop thread. */
struct crew_hooks {
    void *context;
    /* A job has come back with its outcome, asked for still or not. Before its `done`. */
    void (*returned)(void *context, struct job *job);
    /* A session has no open job any more; its last one is about to be `done`. */
    void (*idle)(void *context, struct session *session);
    /* An instrument that could be reached is away, or one that was away is back. */
    void (*changed)(void *context, const char *instrument, bool away);
    /* After crew_stop(): all instruments have been let go. */
    void (*ended)(void *context);
};

/* An empty crew. `mailbox` must outlive it. NULL when memory is short. */
struct crew *crew_new(struct event_base *base, struct mailbox *mailbox,
                      const struct crew_hooks *hooks);

/* All workers must have ended, or never have been started. Accepts NULL. */
void crew_free(struct crew *crew);

/*
 * Takes the instruments of a bench over: those whose digest did not change
 * keep their worker and link, the others are started or retired. A new one
 * whose link a retired one still has waits for it. On failure everything
 * stays as it was.
 */
bool crew_deploy(struct crew *crew, struct bench *bench, struct failure *failure);

/* The station of an instrument of the present bench; NULL once the crew is stopping. */
struct station *crew_station(struct crew *crew, size_t instrument);

/* The name of an instrument whose worker is stuck (worker_is_late()), or NULL. Borrowed. */
const char *crew_late(const struct crew *crew, struct moment now);

/* Ends all open jobs of a session with a refusal, and what it holds. */
void crew_dismiss(struct crew *crew, struct session *session);

/*
 * Refuses what waits and everything that comes, lets finish what is under
 * way, for 10 s, then ends that between two acquisitions, and leaves every
 * instrument in local. `ended` follows, perhaps at once.
 */
void crew_stop(struct crew *crew);

/*
 * Hands a job over. It must be answered within `deadline_ms`, waiting
 * included: the worker is given a little less, so that its own reason comes
 * first where it has one. The job's bench must be the present one. False,
 * and the job is the caller's still, when it is refused.
 *
 * session  who is charged for it; NULL: nobody
 */
bool station_submit(struct station *station, struct job *job, struct session *session,
                    double deadline_ms, struct failure *failure);

/* Takes back a job nobody wants any more: `done` is not called. */
void station_drop(struct job *job);

/*
 * Keeps the station for one session. Burn-ins go on, unless it is to be kept `alone`. False when
 * another one holds it.
 */
bool station_hold(struct station *station, struct session *session, bool alone,
                  struct failure *failure);

/* Ends the hold. False when another session holds it. */
bool station_release(struct station *station, struct session *session, struct failure *failure);

/* How a station is doing. */
struct station_view {
    const char *state; /* "new", "idle", "busy", "down" */
    const char *identity;
    const char *note;              /* what could be better about its link; empty: nothing */
    const struct failure *failure; /* of the last job, or why it is away; NULL: none */
    double heard_s;                /* since it last gave a reading; NAN: never */
    size_t waiting;                /* jobs */
    bool held;
    bool alone;          /* burn-ins are kept off too */
    const char *held_by; /* NULL: nobody */
    struct dialogue_counters counters;
};

/* Valid until the loop goes on. */
struct station_view station_view(struct station *station);

#endif
