/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The shop's commands at the begin and at the end of each phase of a run: which is to be run next,
 * what waits for it, and what becomes of the run when one fails. They are run one at a time and
 * never beside a measurement.
 *
 * What a command has switched may have been switched back while the daemon was away, and nobody
 * knows how far one came whose outcome is not on record. So after a restart the begin command of
 * the phase that the run is in is run again, and one that was cut too; an end command whose
 * outcome is on record is not.
 */
#ifndef GRADUS_DAEMON_BURNIN_PHASES_H
#define GRADUS_DAEMON_BURNIN_PHASES_H

#include "burnin_plan.h"
#include "shop_command.h"

#include <jansson.h>

struct burnin_run;
struct text;

enum phase_stage {
    PHASE_UNSET, /* its begin command has not been run, or not since a restart */
    PHASE_SET,   /* it has, and what the phase measures may be measured */
    PHASE_LEFT   /* its end command has been run, or is not to be */
};

enum phase_doing { PHASE_IDLE, PHASE_COMMAND, PHASE_HELD };

/* Where a run is with its commands. Begin with burnin_phases_new(). */
struct burnin_phases {
    size_t phase; /* that a command has been run for last; BURNIN_PHASES: none yet */
    enum phase_stage stage;
    enum phase_doing doing;
    bool ending;            /* the command under way, or that failed, is of the phase's end */
    bool end_due;           /* the run is over, and its end command is still to be begun */
    bool after_restart;     /* no command has been done since the daemon was away */
    struct plan_time since; /* when the command was begun, or the run held */
};

/* No command yet. */
struct burnin_phases burnin_phases_new(void);

/* Whether any phase of a plan has a command. */
bool burnin_phases_any(const struct bench_burnin *plan);

/*
 * Whether a phase may be measured now; where a command comes first it is begun. Only while nothing
 * is measured.
 */
bool burnin_phases_ready(struct burnin_run *run, size_t phase);

/* A command that was begun by the run has ended. */
void burnin_phases_took(struct burnin_run *run, const struct shop_outcome *outcome);

/*
 * The run ends, `completed` when its time was over: a begin command under way is killed. True when
 * the end command of the phase is to follow, by burnin_phases_finish().
 */
bool burnin_phases_end(struct burnin_run *run, bool completed);

/* Begins the command that is to follow the end of the run, once nothing is under way. */
void burnin_phases_finish(struct burnin_run *run);

/* Lets a run go on that is held, and puts that on record; false: it is not held. */
bool burnin_phases_continue(struct burnin_run *run, const char *by);

/* Takes in what is on record: events "phase command" and "run continued" in their order. */
void burnin_phases_recall(struct burnin_run *run, const json_t *body, bool continued);

/* The daemon was away, and all of the record is taken in. */
void burnin_phases_resume(struct burnin_run *run);

/* The run has ended, and the end command of the phase of that name, if there is one, is to be run. */
void burnin_phases_recall_end(struct burnin_run *run, const char *phase);

/* Writes "command" with what is under way or holds the run; nothing where neither is. */
void burnin_phases_member(struct text *text, const struct burnin_run *run);

#endif
