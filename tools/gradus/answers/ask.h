/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * What the subcommands share: one request with one answer, results and
 * errors as JSON, whole numbers as such.
 */
#ifndef GRADUS_TOOLS_ASK_H
#define GRADUS_TOOLS_ASK_H

#include "command.h"
#include "tools/gradus/wire/client.h"

#include <jansson.h>
#include <stddef.h>

/* What the client waits beyond the time that the daemon has to answer in. */
enum { ASK_GRACE_MS = 2000, ASK_PLAIN_MS = 10000 };

/* Shows a result to a person or as CSV. Returns the exit status. */
typedef int ask_show(const struct session *session, json_t *result);

/*
 * Connects, asks, and shows the result, or explains on standard error why
 * there is none. With --json the result is printed as it came.
 *
 * subject    what messages are about, or NULL
 * params     taken over; NULL where an argument was no valid text
 * within_ms  what the daemon has to answer in
 * Returns the exit status.
 */
int ask(const struct session *session, const char *subject, const char *method, json_t *params,
        double within_ms, ask_show *show);

/*
 * As ask(), for a result whose exit status is `show`'s to find: with --json it is called
 * as well, after the result was printed, and prints nothing.
 */
int ask_judged(const struct session *session, const char *subject, const char *method,
               json_t *params, double within_ms, ask_show *show);

/* A JSON integer where the number is whole, else a real. */
json_t *ask_number(double number);

/* Prints the text of a member of the message as it came, and a newline. */
void ask_print_member(const struct message *message, const char *member);

/*
 * Prints {"point": ..., "error": ...} for what failed: the member "error" of
 * `object`, JSON text of `length` bytes, as it came; where there is none
 * (object NULL included) one made from the fault. `point` NULL is left out.
 */
void ask_print_error(const char *object, size_t length, const char *point,
                     const struct fault *fault);

/* Fills a fault that says the daemon's answer is not what was expected. */
void ask_senseless(struct fault *fault, const char *expected);

#endif
