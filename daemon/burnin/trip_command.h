/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Running the shop's own command when a point trips: without a shell, with
 * what happened on its standard input, as an unprivileged user that can
 * become no other, killed with all it started when its time is over; what
 * leaves its group is ended once no command runs. What it prints goes to the
 * log, the first lines of it. So many run at a time, others wait for their
 * turn. Nothing here waits; the loop thread alone uses it.
 */
#ifndef GRADUS_DAEMON_TRIP_COMMAND_H
#define GRADUS_DAEMON_TRIP_COMMAND_H

#include "core/basics/failure.h"

#include <stdbool.h>
#include <stddef.h>

struct trip_commands;
struct event_base;

/* Nothing runs yet. NULL when memory is short. */
struct trip_commands *trip_commands_new(struct event_base *base);

/* Kills what still runs, and logs what was not run. Accepts NULL. */
void trip_commands_free(struct trip_commands *commands);

/*
 * Starts a command, or has it wait until others have ended, those that came first before it; its
 * time counts from its start. Everything is copied or used before this returns.
 *
 * words    program with its path, arguments, NULL
 * user     who it runs as when this process is root; never root itself
 * limit_s  seconds until it is killed
 * input    for its standard input, at most 64 KiB
 */
bool trip_command_start(struct trip_commands *commands, char *const *words, const char *user,
                        double limit_s, const char *input, size_t length, struct failure *failure);

#endif
