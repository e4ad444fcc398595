/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What `check` says of the commands that burn-in plans run when a point trips. */
#ifndef GRADUS_DAEMON_CHECK_COMMANDS_H
#define GRADUS_DAEMON_CHECK_COMMANDS_H

#include "daemon/bench/bench.h"

/*
 * Says of each as whom it is run, or why it cannot be; whether all can. It runs none of them. Only
 * for a process with one thread.
 */
bool check_commands(const struct bench *bench);

#endif
