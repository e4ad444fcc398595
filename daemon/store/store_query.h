/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * A question to the store, and the thread that finds the answers: in short
 * read-only transactions, so that the log of the writing connection never
 * grows because somebody reads (a long one stops checkpoints: "Write-Ahead
 * Logging" in SQLite's documentation, on large WAL files). What is asked is
 * not known here: a question brings the function that answers it along.
 */
#ifndef GRADUS_DAEMON_STORE_QUERY_H
#define GRADUS_DAEMON_STORE_QUERY_H

#include "daemon/basics/json_text.h"
#include "daemon/basics/mailbox.h"
#include "daemon/basics/queue.h"
#include "store_look.h"

#include <stdatomic.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

enum { QUERY_MOST = 1000, QUERY_BYTES = 4 * 1024 * 1024 };

struct store_query;

/*
 * Carries a question on, on the reading thread: its answer goes into `text`.
 * False with the failure set. One that clears `ended` is not answered yet; it
 * is carried on, on a new look, once others have had their turn.
 */
typedef bool store_query_read(struct store_query *query, const struct store_look *look,
                              bool *ended);

/* The answer is there: in `text`, or why there is none in `failure`. Frees the query. */
typedef void store_query_done(struct store_query *query);

/* The first member of whatever struct holds what is asked. */
struct store_query {
    store_query_read *read;

    struct text text; /* the answer, JSON */
    struct failure failure;

    void (*forget)(struct store_query *query); /* frees what else it holds; NULL: nothing */
    store_query_done *done;                    /* on the loop thread */
    void *owner;
    uint64_t asker;       /* they take turns */
    atomic_bool unwanted; /* nobody waits any more: it is handed back as it is */
    struct letter letter;
    struct queued queued;
};

/*
 * A question of `size` bytes, a struct store_query first, all else zero. NULL
 * when memory is short.
 */
void *store_query_new(size_t size, store_query_read *read);

/* Nobody waits for the answer any more; it comes back soon, with none. From the loop thread. */
void store_query_cancel(struct store_query *query);

/* Accepts NULL. */
void store_query_free(struct store_query *query);

struct store_reader;

/*
 * Starts the thread. `damaged` is called on it, with `context`, when the
 * database at `path` looks damaged. NULL when there is no memory or thread.
 */
struct store_reader *store_reader_new(const char *path, struct mailbox *mailbox,
                                      void (*damaged)(void *context), void *context);

/* Ends the thread after what it is at; what is unanswered goes back with a failure. Accepts NULL. */
void store_reader_free(struct store_reader *reader);

/* Whether the thread is stuck: one turn at a question takes far longer than any can. */
bool store_reader_is_late(struct store_reader *reader, struct moment now);

/* Hands a question over; from the loop thread. */
void store_reader_ask(struct store_reader *reader, struct store_query *query);

#endif
