/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What the tests of the store share: a folder, a loop, a store, and records to append. */
#ifndef GRADUS_TESTS_STORE_CASE_H
#define GRADUS_TESTS_STORE_CASE_H

#include "daemon/store/store.h"
#include "daemon/store/store_verify.h"

#include <sqlite3.h>
#include <stdbool.h>

enum { STORE_CASE_HOLD = 50 };

struct store_case {
    char folder[64];
    struct bench_store settings;
    struct bench *bench;
    struct event_base *base;
    struct mailbox *mailbox;
    struct store *store;
    int changes;    /* how often `changed` was called */
    int durable;    /* records that became durable */
    int64_t newest; /* id of the last of them */
};

/* Setup and teardown for cmocka; the store is opened by store_case_open(). */
int store_case_begin(void **state);
int store_case_end(void **state);

/* Opens and closes the store; closing waits for what can be written. */
bool store_case_open(struct store_case *it, struct failure *failure);
void store_case_close(struct store_case *it);

/* Appends a reading of `value` at `at`, of a run or NULL. Whether it was taken. */
bool store_case_append(struct store_case *it, double value, struct wall_time at, const char *run);

/* Runs the loop until so many records are durable, or the state is that. */
void store_case_until_durable(struct store_case *it, int count);
void store_case_until_state(struct store_case *it, enum store_state state);

/* Runs statements on the database from outside; fails the test when they fail. */
void store_case_sql(struct store_case *it, const char *statements);

/* The number that a statement answers from outside. */
int64_t store_case_number(struct store_case *it, const char *statement);

/* Walks the chain; what does not fit, or "". */
const char *store_case_verify(struct store_case *it, struct store_verify *verify);

#endif
