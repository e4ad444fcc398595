/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Starting a thread that leaves signals to the loop thread, and what one has worked. */
#ifndef GRADUS_DAEMON_THREAD_H
#define GRADUS_DAEMON_THREAD_H

#include "core/basics/moment.h"

#include <pthread.h>
#include <stdbool.h>

/* Starts `run(argument)` with all signals blocked. False when there is no thread to be had. */
bool thread_start(pthread_t *thread, void *(*run)(void *argument), void *argument);

/* What the calling thread has worked so far; it stands still while the thread waits. */
struct duration thread_worked(void);

#endif
