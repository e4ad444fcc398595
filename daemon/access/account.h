/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * What each principal (a user of the machine, a token, a certificate, an address before it has
 * said who it is) uses of the daemon, over all its connections, and how much it may: so that nobody
 * keeps others from what they need. The loop thread's alone.
 */
#ifndef GRADUS_DAEMON_ACCOUNT_H
#define GRADUS_DAEMON_ACCOUNT_H

#include "core/basics/failure.h"
#include "core/basics/moment.h"
#include "principal.h"

#include <stdint.h>
#include <sys/queue.h>

/* How much one principal may use. */
struct quotas {
    int connections; /* at a time */
    int jobs;        /* measurements asked for and not answered */
    int questions;   /* to the store, likewise */
    double loop_ms;  /* of the loop thread's time, each second */
};

struct accounts;

struct account {
    struct accounts *accounts;
    char name[PRINCIPAL_NAME];
    uint64_t number; /* never given twice */
    size_t connections;
    size_t jobs;
    size_t questions;
    struct duration credit; /* of the loop thread's time; negative: it has used too much */
    struct moment credited; /* when that was so */
    LIST_ENTRY(account) entry;
};

LIST_HEAD(account_list, account);

/* All that have a connection. Start with {0}. */
struct accounts {
    struct quotas quotas;
    struct account_list list;
    uint64_t last;
};

/* One more connection of the principal of that name; NULL when memory is short. */
struct account *account_join(struct accounts *accounts, const char *name, struct moment now);

/* One connection less; the account is gone with the last. Accepts NULL. */
void account_leave(struct account *account);

/* Whether it has more connections than it may. */
bool account_is_crowded(const struct account *account);

/* Counts one more job, or question; false with the failure set when there are too many. */
bool account_take_job(struct account *account, struct failure *failure);
bool account_take_question(struct account *account, struct failure *failure);

/* Counts what the loop thread has worked for it. */
void account_worked(struct account *account, struct duration worked, struct moment now);

/* How long it has to wait until it may have the loop thread's time again; 0: it may now. */
struct duration account_pause(const struct account *account, struct moment now);

#endif
