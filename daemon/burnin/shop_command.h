/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Running the shop's own command, when a point trips and when a phase begins or ends: without a
 * shell, with what happened on its standard input, as an unprivileged user that can become no
 * other, killed with all it started when its time is over; what leaves its group is ended once no
 * command runs. What it prints goes to the log, the first lines of it. So many run at a time,
 * others wait for their turn. Nothing here waits; the loop thread alone uses it.
 */
#ifndef GRADUS_DAEMON_SHOP_COMMAND_H
#define GRADUS_DAEMON_SHOP_COMMAND_H

#include "core/basics/failure.h"

#include <stdbool.h>
#include <stddef.h>

struct shop_commands;
struct event_base;

/* Nothing runs yet. NULL when memory is short. */
struct shop_commands *shop_commands_new(struct event_base *base);

/* Kills what still runs, and logs what was not run; nobody is told. Accepts NULL. */
void shop_commands_free(struct shop_commands *commands);

/* What came of a command; its texts are good until the function that is told returns. */
struct shop_outcome {
    bool good;
    const char *why;    /* "exit status 3"; "done" where it is good */
    const char *output; /* what it printed, its beginning, in one line without control characters */
};

/* A command to be run. Everything but the owner is copied or used before shop_command_start() returns. */
struct shop_order {
    const char *kind;   /* in the log: "trip command" */
    char *const *words; /* program with its path, arguments, NULL */
    const char *user;   /* who it runs as when this process is root; never root itself */
    double limit_s;     /* seconds until it is killed */
    const char *input;  /* for its standard input, at most 64 KiB */
    size_t length;      /* of that */
    void (*done)(void *owner, const struct shop_outcome *outcome); /* NULL: nobody is to know */
    void *owner;                                                   /* for done() */
};

/*
 * Starts a command, or has it wait until others have ended, those that came first before it; its
 * time counts from its start. Once true, done() is called one time, never from in here, but not
 * when the commands are freed before it has ended.
 */
bool shop_command_start(struct shop_commands *commands, const struct shop_order *order,
                        struct failure *failure);

/* Kills what an owner has begun and what still runs; done() follows. */
void shop_command_kill(struct shop_commands *commands, const void *owner);

#endif
