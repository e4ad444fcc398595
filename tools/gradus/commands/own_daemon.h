/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * A gradusd of the command's own, for one command: where nothing runs yet, a
 * settings file is enough for a reading.
 */
#ifndef GRADUS_TOOLS_OWN_DAEMON_H
#define GRADUS_TOOLS_OWN_DAEMON_H

#include "tools/gradus/answers/command.h"

#include <sys/types.h>

/* One that runs. Start with {0}. */
struct own_daemon {
    pid_t pid;
    int handle;       /* becomes readable when it has ended */
    char folder[64];  /* of its own, with socket and log */
    char socket[128]; /* its address, for struct options */
};

/*
 * Starts gradusd with the settings of the session's options and waits until it listens. Returns 0,
 * or the exit status, and it has been said why. It ends with this process, however that ends.
 */
int own_daemon_start(const struct session *session, struct own_daemon *own);

/* Ends it and removes its folder. */
void own_daemon_end(struct own_daemon *own);

#endif
