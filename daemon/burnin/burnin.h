/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The burn-ins of the daemon: its runs, joined with clocks, timers,
 * instruments, the store and the shop's command. The loop thread's alone.
 */
#ifndef GRADUS_DAEMON_BURNIN_H
#define GRADUS_DAEMON_BURNIN_H

#include "daemon/basics/json_text.h"
#include "daemon/bench/bench.h"
#include "daemon/store/store_record.h"

struct burnin;
struct loop;
struct probe_checks;

/*
 * No run yet. `checks`, of probes, is borrowed and must outlive it. NULL when
 * memory is short.
 */
struct burnin *burnin_new(struct loop *loop, const struct probe_checks *checks);

/* Accepts NULL. */
void burnin_free(struct burnin *burnin);

/* Goes on with the runs that the store has as begun and not ended. */
void burnin_restore(struct burnin *burnin);

/*
 * Begins a run of a plan; `by` says who does, `order` (JSON, or NULL) for which job of a customer's,
 * with "serials" for its units in the order of their numbers. On success `record` is the one that says so, to be
 * waited for, or NULL when the store has not taken it.
 */
bool burnin_start(struct burnin *burnin, const char *plan, const char *by, const char *order,
                  struct record **record, struct failure *failure);

/* Ends a run by its name, or by its plan's. `by` and `record` as for burnin_start(). */
bool burnin_stop(struct burnin *burnin, const char *run, const char *by, struct record **record,
                 struct failure *failure);

/*
 * Runs the command again that failed and holds a run, and lets the run go on if it is done. `by`
 * and `record` as for burnin_start().
 */
bool burnin_continue(struct burnin *burnin, const char *run, const char *by, struct record **record,
                     struct failure *failure);

/* Whether it is the name of a plan, or of a run that goes on. */
bool burnin_may_follow(struct burnin *burnin, const char *name, struct failure *failure);

/* The run that goes on and measures that input of an instrument; NULL: none does. */
const char *burnin_at_input(const struct burnin *burnin, const char *instrument, int input);

/* The daemon is going: runs are kept open in the store and begin nothing more. */
void burnin_pause(struct burnin *burnin);

/* After a reload. */
void burnin_rebind(struct burnin *burnin, struct bench *bench);

#endif
