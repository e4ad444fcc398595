/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * One burn-in run: begins its rounds when they are due, walks the points of
 * each instrument in the order that changes it least, judges what comes back
 * and stops what trips. It knows no clock, timer, instrument or store but
 * through a struct of functions, so that a simulation can drive it.
 *
 * One thread uses it.
 */
#ifndef GRADUS_DAEMON_BURNIN_RUN_H
#define GRADUS_DAEMON_BURNIN_RUN_H

#include "burnin_judge.h"
#include "burnin_phases.h"
#include "burnin_plan.h"
#include "core/course/outlook.h"
#include "daemon/basics/json_text.h"
#include "daemon/store/event_kinds.h"
#include "track.h"

#include <jansson.h>

struct burnin_run;

/* What a run needs of the world. */
struct burnin_host {
    void *context;
    struct burnin_clock (*now)(void *context);
    /* Has burnin_run_tick() called after a pause, instead of at any time asked for before. */
    void (*wake)(void *context, struct duration pause);
    /* Begins to measure; burnin_run_took() follows, not at once. False: it cannot be begun. */
    bool (*measure)(void *context, const struct bench_point *point, size_t slot, int64_t round,
                    struct failure *failure);
    /* Puts an event of the run on record; `body` is a JSON text. */
    void (*record)(void *context, enum event_kind kind, const struct text *body);
    /* A point has tripped and that is on record; `body` is the event's. */
    void (*tripped)(void *context, size_t slot, const struct text *body);
    /*
     * Begins the command of a phase's begin or end, which reads `told`; burnin_phases_took()
     * follows, not at once. False: it cannot be begun.
     */
    bool (*command)(void *context, size_t phase, bool ending, const struct text *told,
                    struct failure *failure);
    /* Kills the command that is under way; burnin_phases_took() follows. */
    void (*command_kill)(void *context);
};

/* Places that the course of a point has in memory. */
enum { BURNIN_COURSE = 256 };

/* One point of the run. */
struct burnin_slot {
    struct burnin_state state;
    struct track course;    /* of its values after warm-up; hours since round 1 was due */
    bool stopped;           /* it is not measured any more */
    struct outlook outlook; /* where that is going, as it was looked for last */
    int64_t outlook_of;     /* readings that it was looked for in */
    struct limits outlook_limits;
};

/* The points of one instrument in one round: visits from `next` to `end` are still to come. */
struct burnin_lane {
    size_t next;
    size_t end;
};

struct burnin_run {
    char name[BENCH_NAME];
    struct bench *bench;             /* a reference */
    const struct bench_burnin *plan; /* of that bench */
    struct burnin_host host;
    struct burnin_time time;
    struct burnin_schedule schedule;
    int64_t last;          /* round that was begun or missed last */
    struct plan_time seen; /* latest that something is known of */
    struct burnin_phases phases;
    size_t open; /* measurements under way */
    bool ended;
    bool paused;               /* the daemon is going: nothing new is begun */
    char why[64];              /* it ended */
    json_t *job;               /* the customer's that it is for, with its units' serials{}; owned;
                                  NULL: none */
    int64_t late;              /* rounds that began late */
    int64_t missed;            /* rounds that were not held */
    int64_t jumps;             /* of the wall clock */
    int64_t gaps;              /* restarts */
    struct burnin_slot *slots; /* one a point of the plan */
    size_t *by_name;           /* slots in the order of their points' names */
    struct burnin_visit *visits;
    struct burnin_lane *lanes; /* by slot that leads them, as many as there are visits at most */
    size_t lane_count;
    struct text scratch;
};

/*
 * A run that has not begun: burnin_run_begin() or, for one that is on record,
 * burnin_run_resume() comes next. `bench` gains a reference and holds `plan`.
 * NULL when memory is short.
 */
struct burnin_run *burnin_run_new(struct bench *bench, const struct bench_burnin *plan,
                                  const char *name, const struct burnin_host *host);

/* No measurement may be under way. Accepts NULL. */
void burnin_run_free(struct burnin_run *run);

/* Begins, and puts that on record; `boot` names this boot of the machine, `by` who began it. */
void burnin_run_begin(struct burnin_run *run, const char *boot, const char *by);

/*
 * Takes in what is on record of a run before it goes on: time and begin as
 * burnin_run_begin() wrote them, then rounds in their order.
 */
void burnin_run_recall_time(struct burnin_run *run, const struct burnin_time *time,
                            struct plan_time first);
void burnin_run_recall(struct burnin_run *run, size_t slot, const struct burnin_outcome *outcome,
                       bool announced);
void burnin_run_recall_missed(struct burnin_run *run, int64_t last);

/*
 * Takes in that it has ended, as it is on record; the end command of the phase of that name is
 * still to be run. In the place of burnin_run_resume().
 */
void burnin_run_recall_end(struct burnin_run *run, const char *why, const char *phase);

/* Goes on after the daemon was not there, and puts the gap on record. */
void burnin_run_resume(struct burnin_run *run, bool same_boot, const char *boot);

/* Looks what is due. */
void burnin_run_tick(struct burnin_run *run);

/*
 * A measurement is back. `judged` and `verdict` are of the reading, if there
 * is one; warm-up is told from the round. `stored` is false when there is
 * nothing of it in the store but what this puts there.
 */
void burnin_run_took(struct burnin_run *run, size_t slot, const struct burnin_outcome *outcome,
                     bool stored);

/*
 * Ends it and puts that on record, with the reason and who ended it; NULL: nobody, it ended by
 * itself. Does nothing to one that has ended.
 */
void burnin_run_end(struct burnin_run *run, const char *why, const char *by);

/* Begins nothing more, but is not over: the daemon is going. */
void burnin_run_pause(struct burnin_run *run);

/* Takes the same plan out of newer settings; ends the run when it is another or none. */
void burnin_run_rebind(struct burnin_run *run, struct bench *bench);

/* Slot of the point of that name; point_count: there is none. */
size_t burnin_run_slot(const struct burnin_run *run, const char *point);

/* The point of a slot as it is measured in a round, with the limits of that phase. */
const struct bench_point *burnin_run_point(const struct burnin_run *run, size_t slot,
                                           int64_t round);

#endif
