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
    const json_t *told;     /* borrowed: what the daemon tells of the point; NULL: nothing */
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

/* What is done with a batch while there is a connection. Returns the exit status. */
typedef int batch_work(const struct session *session, struct client *client, struct batch *batch);

/*
 * Connects, makes a request of each operand, or of every point with --all,
 * fills in what the daemon knows of it, and tells each point's caution on
 * standard error unless told to be quiet; then has the work done. Explains why
 * not when that cannot be had, there is no point, or a lead would have to be
 * moved between two. Returns the exit status.
 */
int batch_with(const struct session *session, batch_work *work);

/*
 * Measures them all. `done` is called after each answer with the number of
 * requests, counted from the first, that are done without a gap.
 */
void batch_run(struct batch *batch, const struct session *session, struct client *client,
               void (*done)(void *context, size_t in_order), void *context);

#endif
