/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What the files of the burn-ins share. */
#ifndef GRADUS_DAEMON_BURNIN_PRIV_H
#define GRADUS_DAEMON_BURNIN_PRIV_H

#include "burnin.h"
#include "burnin_run.h"
#include "daemon/loop/loop.h"
#include "daemon/loop/probe_checks.h"
#include "shop_command.h"

#include <sys/queue.h>

enum { BURNIN_BOOT = 40 };

/* A run with what it hangs on. */
struct burnin_entry {
    struct burnin *burnin;
    uint64_t number; /* from 1, in the order of the list */
    struct burnin_run *run;
    struct event *timer;
    const struct record *reading; /* that is being judged; NULL: none, or it is not kept */
    struct record *recorded; /* the last event, while the store has it; good for the moment only */
    TAILQ_ENTRY(burnin_entry) entry;
};

struct burnin {
    struct loop *loop;
    const struct probe_checks *checks;
    struct shop_commands *commands;
    char boot[BURNIN_BOOT];                           /* names this boot of the machine */
    uint64_t begun;                                   /* runs so far: the number of the last */
    TAILQ_HEAD(burnin_entries, burnin_entry) entries; /* oldest first */
};

/* A run that has not begun, in the list. NULL with the failure set. */
struct burnin_entry *burnin_entry_new(struct burnin *burnin, const struct bench_burnin *plan,
                                      const char *name, struct failure *failure);

/* Takes it out of the list and frees it; nothing may be under way. */
void burnin_entry_free(struct burnin_entry *entry);

/*
 * Publishes an event of a run of a plan. NULL when the store has not taken it;
 * it is told all the same.
 */
struct record *burnin_record(struct burnin *burnin, struct happening *event);

/* What the judge has to know of a reading. */
struct burnin_outcome burnin_outcome(const struct reading *reading, int64_t round);

/* A run by its name, or the latest by its plan's. NULL with the failure set when there is none. */
struct burnin_entry *burnin_find(struct burnin *burnin, const char *name, struct failure *failure);

#endif
