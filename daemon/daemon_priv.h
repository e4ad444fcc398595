/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The insides of the daemon, shared by the files that make, load anew and end it. */
#ifndef GRADUS_DAEMON_DAEMON_PRIV_H
#define GRADUS_DAEMON_DAEMON_PRIV_H

#include "daemon.h"
#include "daemon/access/access.h"
#include "daemon/calls/service.h"
#include "daemon/loop/loop.h"
#include "daemon/server/server.h"
#include "watchdog.h"

#include <sys/types.h>

enum { DAEMON_SIGNALS = 3, DAEMON_END_TEXT = 400 };

struct daemon {
    const struct options *options;
    struct loop loop;
    struct service service;
    struct rpc_service rpc;
    struct access access;
    struct watchdog *watchdog;
    struct event *signals[DAEMON_SIGNALS];
    struct event *flushed; /* looks whether all clients have got their last answers */
    struct moment flush_until;
    struct event *late;  /* an instrument that does not let go is not waited for longer */
    bool abandoned;      /* one was not */
    char unix_path[108]; /* the socket to remove at the end; empty: none */
    dev_t unix_device;
    ino_t unix_inode;
    char full_text[DAEMON_END_TEXT];      /* what a client too many is told */
    char displaced_text[DAEMON_END_TEXT]; /* and one that gives way to another */
    char crowded_text[DAEMON_END_TEXT];   /* one of a principal that has too many */
    char kept_text[DAEMON_END_TEXT];      /* one for whom the last places are not */
    char silent_text[DAEMON_END_TEXT];    /* one that never said anything */
    char stranger_text[DAEMON_END_TEXT];  /* one that never said who it is */
    char revoked_text[DAEMON_END_TEXT];   /* one whose token is not taken any more */
};

/* What the socket server calls; its context is a struct daemon. */
extern const struct server_handlers daemon_server_handlers;

/* Sends an answer to the session that is `peer`; for struct rpc_service. */
void daemon_send_reply(void *context, void *peer, const char *text, size_t length);

/* Keeps the rest of a batch for the session's next turn; for struct rpc_service. */
bool daemon_put_off(void *context, void *peer, struct rpc_batch *rest);

/* Puts a new bench in the place of the present one; on failure that stays. */
bool daemon_deploy(struct daemon *daemon, struct bench *bench, struct failure *failure);

/* Opens the sockets that the options or else the settings name. */
bool daemon_listen(struct daemon *daemon, struct failure *failure);

/* Removes the Unix socket if it still is ours. */
void daemon_unlink(struct daemon *daemon);

/* Loads the settings again; keeps the old ones, and says why, when there is a mistake. */
void daemon_reload(struct daemon *daemon);

/* Tells the service manager that all sockets listen, or do again with new settings. */
void daemon_tell_ready(const struct daemon *daemon);

/* Begins to end. */
void daemon_stop(struct daemon *daemon);

#endif
