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

#include "run_parts.h"
#include "shop_command.h"

/* No command yet. */
struct burnin_phases burnin_phases_new(void);

/* Whether any phase of a plan has a command. */
bool burnin_phases_any(const struct bench_burnin *plan);

/*
 * Whether a phase may be measured now; where a command comes first it is begun. Only while nothing
 * is measured.
 */
bool burnin_phases_ready(struct burnin_run *run, size_t phase);

/* A command that was begun by the run has ended; `over` is set where that ends the run. */
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
