/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A client as the rest of the daemon sees it: somebody who is charged for jobs. */
#ifndef GRADUS_DAEMON_SESSION_H
#define GRADUS_DAEMON_SESSION_H

#include <stddef.h>
#include <stdint.h>

enum { SESSION_MAX_JOBS = 1024, SESSION_MAX_SUBSCRIPTIONS = 64 };

struct client;

/* Lives as long as the connection and its open calls. The loop thread's alone. */
struct session {
    struct client *client;
    uint64_t id;          /* never given twice */
    size_t jobs;          /* open jobs it is charged for */
    size_t subscriptions; /* open subscriptions */
    size_t answers;       /* calls that wait for the store */
};

#endif
