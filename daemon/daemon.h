/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The running daemon: the event loop with everything that hangs on it, from
 * the first socket to the last instrument let go.
 */
#ifndef GRADUS_DAEMON_DAEMON_H
#define GRADUS_DAEMON_DAEMON_H

#include "daemon/bench/bench.h"
#include "options.h"

struct daemon;

/*
 * Makes everything up to listening sockets and waiting workers; no link is
 * opened before it is needed. `options` is borrowed, `bench` gains a
 * reference. NULL with the failure set when anything is not to be had.
 */
struct daemon *daemon_new(const struct options *options, struct bench *bench,
                          struct failure *failure);

/*
 * Serves until SIGTERM or SIGINT, and until then loads new settings at each
 * SIGHUP. Returns when every instrument has been let go. A second SIGTERM or
 * SIGINT ends the process at once, with exit status 1.
 */
void daemon_run(struct daemon *daemon);

/* Closes what is left. Accepts NULL. */
void daemon_free(struct daemon *daemon);

#endif
