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

#include "burnin_phases.h"
#include "run_parts.h"

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

/* The command of a phase that was begun has ended. */
void burnin_run_command_took(struct burnin_run *run, const struct shop_outcome *outcome);

#endif
