/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Slows down whoever tries tokens: so many wrong ones a minute from an address (in IPv6 a /64),
 * then none is looked at until the minute is over.
 */
#ifndef GRADUS_DAEMON_GUARD_H
#define GRADUS_DAEMON_GUARD_H

#include "core/basics/moment.h"

#include <stdbool.h>
#include <stdint.h>
#include <sys/socket.h>

enum { GUARD_TRIES = 10, GUARD_ADDRESSES = 1024 };

struct guard_entry {
    uint64_t key; /* 0: free */
    int failures;
    struct moment began;
};

/* All addresses that are remembered; two that fall on one place share it. Start with {0}. */
struct guard {
    struct guard_entry entries[GUARD_ADDRESSES];
};

/* What an address counts as; never 0. */
uint64_t guard_key(const struct sockaddr_storage *address);

/* How long until a token from there is looked at; none: it is at once. */
struct duration guard_wait(const struct guard *guard, uint64_t key, struct moment now);

/* Notes a wrong token. Whether it is the first of its minute, or the last that is looked at. */
bool guard_failed(struct guard *guard, uint64_t key, struct moment now);

#endif
