/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * One absolute deadline on CLOCK_MONOTONIC, handed down unchanged, so that
 * waits never add up. Wall time is for labels only and never comes here.
 */
#ifndef GRADUS_DRIVERS_DEADLINE_H
#define GRADUS_DRIVERS_DEADLINE_H

#include "core/basics/moment.h"

#include <stdbool.h>

/* By when something is to be over. */
struct deadline {
    struct moment at;
};

/* The moment `milliseconds` from now; negative counts as now. */
struct deadline deadline_in(double milliseconds);

/* The earlier of two. */
struct deadline deadline_sooner(struct deadline a, struct deadline b);

/* Whether the moment has come. */
bool deadline_passed(struct deadline deadline);

/* Milliseconds left, rounded up for poll(2): 0 when passed, at most 1 hour. */
int deadline_poll_ms(struct deadline deadline);

/* Milliseconds left; negative when passed. */
double deadline_left_ms(struct deadline deadline);

/* The moment now. */
struct moment monotonic_now(void);

#endif
