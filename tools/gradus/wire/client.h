/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The command's side of the daemon's socket: JSON-RPC 2.0, one text a line.
 * Several requests may be under way at a time; their answers are told apart
 * by the ids that client_send() gave out.
 */
#ifndef GRADUS_TOOLS_CLIENT_H
#define GRADUS_TOOLS_CLIENT_H

#include "fault.h"
#include "message.h"
#include "tools/gradus/basics/options.h"

#include <jansson.h>
#include <stdbool.h>

struct client;

/* What came of waiting for a line. */
enum client_event {
    CLIENT_MESSAGE,     /* a line was read */
    CLIENT_LATE,        /* the time came first */
    CLIENT_INTERRUPTED, /* SIGINT or SIGTERM */
    CLIENT_KEYS,        /* the descriptor of client_also() can be read */
    CLIENT_GONE         /* connection lost, or what came is no JSON: the fault says which */
};

/*
 * Connects to where the options say. From then on SIGINT and SIGTERM no
 * longer end the process but client_receive(). NULL with the fault filled in
 * when there is no daemon. Free with client_close().
 */
struct client *client_open(const struct options *options, struct fault *fault);

/* Accepts NULL. */
void client_close(struct client *client);

/*
 * Sends a request; `params` is taken over. Returns its id (> 0), or 0 with
 * the fault filled in.
 */
int client_send(struct client *client, const char *method, json_t *params, struct fault *fault);

/*
 * Waits for the next line until `until_ms` on client_now()'s scale (INFINITY:
 * for ever). On CLIENT_MESSAGE the caller clears the message.
 */
enum client_event client_receive(struct client *client, double until_ms, struct message *message,
                                 struct fault *fault);

/* Waits for another descriptor beside the connection, too; -1: for none any more. */
void client_also(struct client *client, int descriptor);

/*
 * Sends a request and waits for its answer, at most `within_ms`. True with
 * the whole answer in `answer`, whose "result" is there; false with the
 * fault filled in, and the answer with its "error" in `answer` when there is
 * one. The caller clears it either way.
 */
bool client_call(struct client *client, const char *method, json_t *params, double within_ms,
                 struct message *answer, struct fault *fault);

/* The answer's id, or 0 for a notification. */
int client_answer_id(const struct message *message);

/* Milliseconds on the monotonic clock. */
double client_now(void);

/* Fills a fault for an event that is no message. CLIENT_GONE leaves the fault as it is. */
void client_event_fault(enum client_event event, double waited_ms, struct fault *fault);

#endif
