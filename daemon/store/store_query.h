/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * A question to the store, and the thread that finds the answers: in short
 * read-only transactions, so that the log of the writing connection never
 * grows because somebody reads (a long one stops checkpoints: "Write-Ahead
 * Logging" in SQLite's documentation, on large WAL files).
 */
#ifndef GRADUS_DAEMON_STORE_QUERY_H
#define GRADUS_DAEMON_STORE_QUERY_H

#include "daemon/basics/mailbox.h"
#include "daemon/basics/text.h"
#include "daemon/bench/bench.h"
#include "store_verify.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

/* What can be asked. */
enum store_question {
    QUESTION_READINGS, /* a page of readings */
    QUESTION_VERIFY,   /* the whole chain */
    QUESTION_RUNS,     /* of burn-ins */
    QUESTION_EVENTS,   /* a page of the events of a run */
    QUESTION_STUDY     /* what a point did over a run */
};

enum { QUERY_MOST = 1000, QUERY_BYTES = 4 * 1024 * 1024 };

struct store_query;

/* The answer is there: in `text`, or why there is none in `failure`. Frees the query. */
typedef void store_query_done(struct store_query *query);

struct store_query {
    /* What is asked. */
    enum store_question question;
    char point[BENCH_NAME]; /* empty: of all points */
    char run[BENCH_NAME];   /* empty: of any run or none */
    int64_t since_ns;       /* INT64_MIN: from the first */
    int64_t until_ns;       /* INT64_MAX: to the last */
    int64_t after;          /* ids above this, the oldest of them; -1: the newest of all */
    int64_t before;         /* ids below this */
    size_t limit;           /* 1 to QUERY_MOST */
    size_t buckets;         /* of a study, 1 to STUDY_BUCKETS */

    /* The answer, JSON. */
    struct text text;
    struct failure failure;

    struct store_verify walk; /* how far a verification has come */
    store_query_done *done;   /* on the loop thread */
    void *owner;
    struct letter letter;
    struct store_query *next;
};

/* The newest QUERY_MOST readings of everything. NULL when memory is short. */
struct store_query *store_query_new(void);

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

/* Hands a question over; from the loop thread. */
void store_reader_ask(struct store_reader *reader, struct store_query *query);

#endif
