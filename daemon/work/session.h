/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A client as the rest of the daemon sees it: somebody who is charged for jobs, and can be told. */
#ifndef GRADUS_DAEMON_SESSION_H
#define GRADUS_DAEMON_SESSION_H

#include "daemon/access/account.h"
#include "daemon/access/principal.h"
#include "drivers/basics/digest.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

enum { SESSION_MAX_SUBSCRIPTIONS = 64 };

/* How a session reaches whoever is at its other end; each kind of connection has its own. */
struct peer_ops {
    /* Sends one text, which comes without newline. Dropped when the peer is going. */
    void (*send)(void *peer, const char *text, size_t length);
    /* Whether the peer reads so slowly that what it can do without is better left out. */
    bool (*slow)(const void *peer);
    /* Whether the peer is going: nothing reaches it any more. */
    bool (*gone)(const void *peer);
    /*
     * Nothing is under way for the session any more, perhaps with the last answer
     * still to be sent before the loop goes on; the peer may be closed by that.
     */
    void (*idle)(void *peer);
};

struct rpc_batch;

/* Lives as long as the connection and its open calls. The loop thread's alone. */
struct session {
    const struct peer_ops *ops;
    void *peer;
    struct principal who;
    struct account *account; /* of who it is, with all its other sessions */
    bool crowded;            /* it is one too many of its principal */
    char token[DIGEST_SIZE]; /* SHA-256 of the one it has shown; empty: none */
    char address[64];        /* it comes from */
    uint64_t from;           /* the same, for guard.h */
    uint64_t id;             /* never given twice */
    size_t jobs;             /* open jobs it is charged for */
    size_t subscriptions;    /* open subscriptions */
    size_t answers;          /* calls that wait for the store */
    struct rpc_batch *batch; /* that is gone on with when it is its turn again; NULL: none */
    uint64_t waited; /* turns of the loop, from its last lines being there to them being taken */
    size_t holds;    /* instruments that are kept for it */
};

#endif
