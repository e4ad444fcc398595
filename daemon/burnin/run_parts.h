/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What a burn-in run consists of, for the files that make it go on. */
#ifndef GRADUS_DAEMON_RUN_PARTS_H
#define GRADUS_DAEMON_RUN_PARTS_H

#include "burnin_judge.h"
#include "burnin_plan.h"
#include "core/course/outlook.h"
#include "daemon/basics/json_text.h"
#include "daemon/store/event_kinds.h"
#include "track.h"

#include <jansson.h>

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
     * Begins the command of a phase's begin or end, which reads `told`; burnin_run_command_took()
     * follows, not at once. False: it cannot be begun.
     */
    bool (*command)(void *context, size_t phase, bool ending, const struct text *told,
                    struct failure *failure);
    /* Kills the command that is under way; burnin_run_command_took() follows. */
    void (*command_kill)(void *context);
};

enum phase_stage {
    PHASE_UNSET, /* its begin command has not been run, or not since a restart */
    PHASE_SET,   /* it has, and what the phase measures may be measured */
    PHASE_LEFT   /* its end command has been run, or is not to be */
};

enum phase_doing { PHASE_IDLE, PHASE_COMMAND, PHASE_HELD };

/* Where a run is with the commands of its phases. Begin with burnin_phases_new(). */
struct burnin_phases {
    size_t phase; /* that a command has been run for last; BURNIN_PHASES: none yet */
    enum phase_stage stage;
    enum phase_doing doing;
    bool ending;            /* the command under way, or that failed, is of the phase's end */
    bool over;              /* a command has failed by which the run is to end */
    bool end_due;           /* the run is over, and its end command is still to be begun */
    bool after_restart;     /* no command has been done since the daemon was away */
    struct plan_time since; /* when the command was begun, or the run held */
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

/* The point of a slot as it is measured in a round, with the limits of that phase. */
const struct bench_point *burnin_run_point(const struct burnin_run *run, size_t slot,
                                           int64_t round);

/* Plan time now. */
struct plan_time burnin_run_now(const struct burnin_run *run);

#endif
