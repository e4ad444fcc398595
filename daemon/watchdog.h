/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Tells the service manager again and again that all is well, as long as it is: the loop comes
 * round, no worker and no thread of the store is stuck. What is stuck is said once in the log and in
 * the unit's status; the manager then ends the process and starts a new one.
 */
#ifndef GRADUS_DAEMON_WATCHDOG_H
#define GRADUS_DAEMON_WATCHDOG_H

#include "daemon/basics/service_manager.h"
#include "daemon/loop/loop.h"

struct watchdog;

/*
 * Begins to tell `manager`, three times in each of its periods; both arguments are borrowed. NULL
 * when memory is short. Where the manager does not watch, nothing is told.
 */
struct watchdog *watchdog_new(struct loop *loop, const struct service_manager *manager);

/* Accepts NULL. */
void watchdog_free(struct watchdog *watchdog);

#endif
