/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Measuring many points: all instruments work at the same time, each on one
 * point after the other. A point's deadline starts when its turn comes, so
 * that a long list needs no longer deadline than a short one.
 */
#ifndef GRADUS_TOOLS_BATCH_H
#define GRADUS_TOOLS_BATCH_H

#include "command.h"
#include "tools/gradus/wire/client.h"

#include <stdbool.h>
#include <stddef.h>

enum request_state { REQUEST_WAITING, REQUEST_SENT, REQUEST_DONE };

/* One point to be measured. */
struct request {
    const char *point;      /* borrowed */
    const char *instrument; /* borrowed; NULL where it is not known: then nothing waits for it */
    const char *caution;    /* borrowed; NULL: none */
    const json_t *hands;    /* borrowed: names of points that somebody has to move a lead for */
    enum request_state state;
    int id;
    double until_ms;
    struct message answer; /* its "result" is the reading, unless failed */
    bool failed;
    struct fault fault;
};

struct batch {
    size_t count;
    struct request *requests;
    struct message points; /* what the daemon told of its points; the requests point into it */
};

/*
 * Makes a request of each operand, or of every point with --all, and fills in
 * what the daemon knows of it. False with the fault filled in when that
 * cannot be had, there is no point, or a lead would have to be moved between two. Free with batch_free() either way.
 */
bool batch_prepare(struct batch *batch, const struct session *session, struct client *client,
                   struct fault *fault);

/* Tells each point's caution on standard error, unless told to be quiet. */
void batch_cautions(const struct batch *batch, const struct session *session);

/*
 * Measures them all. `done` is called after each answer with the number of
 * requests, counted from the first, that are done without a gap.
 */
void batch_run(struct batch *batch, const struct session *session, struct client *client,
               void (*done)(void *context, size_t in_order), void *context);

/* Frees the batch and what it holds. */
void batch_free(struct batch *batch);

#endif
