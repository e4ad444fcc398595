/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * What a service manager is told, and what it asks for: datagrams of NAME=value lines to the socket
 * that NOTIFY_SOCKET names, WATCHDOG_USEC and WATCHDOG_PID. Source of the protocol: the manual page
 * sd_notify(3), which declares it stable and open to be spoken without its library.
 */
#ifndef GRADUS_DAEMON_SERVICE_MANAGER_H
#define GRADUS_DAEMON_SERVICE_MANAGER_H

#include "core/basics/moment.h"

#include <stdbool.h>

/* Who started this process, as the environment says. */
struct service_manager {
    char socket[108]; /* of the manager; "@" in front of an abstract one; empty: there is none */
    struct duration watchdog; /* longest silence the manager bears; none: it does not watch */
};

/*
 * Reads the environment and takes what was read out of it, so that no command that is run later
 * takes it for its own. For a time with one thread.
 */
struct service_manager service_manager_read(void);

/*
 * Tells the manager, if there is one: one NAME=value line or several, parted by line ends ("READY=1",
 * "STATUS=...", "STOPPING=1", "WATCHDOG=1"). False when there is a manager and it could not be told.
 */
bool service_manager_tell(const struct service_manager *manager, const char *lines);

/* Tells it that settings are being loaded; "READY=1" ends that. */
bool service_manager_tell_reloading(const struct service_manager *manager, struct moment now);

#endif
