/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Looking things up in the store: a connection that never writes, on which
 * readings and events are walked in the order they were written. Everything
 * that one look shows is of one moment. What it means is for whoever asks;
 * SQL stays in this folder.
 *
 *     struct store_rows rows = store_rows_of_point(&look, run, point);
 *     while (store_rows_next(&rows, &row, &intact))
 *         ...
 *     if (!store_rows_end(&rows, failure))
 *         ... not all of them were seen
 *
 * One thread may use a look at a time.
 */
#ifndef GRADUS_DAEMON_STORE_LOOK_H
#define GRADUS_DAEMON_STORE_LOOK_H

#include "core/basics/failure.h"
#include "event_kinds.h"
#include "store_row.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

struct sqlite3;
struct sqlite3_stmt;

struct store_look {
    struct sqlite3 *sqlite;
};

/* Opens the database at `path`. False with the failure set, and there is nothing to close. */
bool store_look_open(struct store_look *look, const char *path, struct failure *failure);

/* Ends the look. */
void store_look_close(struct store_look *look);

/* Sets the failure to what went wrong last. Returns false. */
bool store_look_fail(const struct store_look *look, struct failure *failure);

/* Whether what went wrong last is a damaged database. */
bool store_look_damaged(const struct store_look *look);

/* A walk over readings; end each one. */
struct store_rows {
    const struct store_look *look;
    struct sqlite3_stmt *at;
    int code; /* of the last step */
};

/* The readings of a point in a run. */
struct store_rows store_rows_of_point(const struct store_look *look, const char *run,
                                      const char *point);

/*
 * The readings of a point of the unit with that serial number, the newest first: those with a
 * value, but for those before a repair.
 */
struct store_rows store_rows_of_unit(const struct store_look *look, const char *point,
                                     const char *serial);

/*
 * The readings of a run above an id, of all its points, as they lie in the
 * table: settings, instruments and versions are not looked up, nor digests.
 */
struct store_rows store_rows_of_run(const struct store_look *look, const char *run, int64_t after);

/* The next reading; false when there is none, or when the walk failed. Valid until the next step. */
bool store_rows_next(struct store_rows *rows, struct store_row *row);

/* The same, and whether it is as it was written. */
bool store_rows_next_checked(struct store_rows *rows, struct store_row *row, bool *intact);

/* Ends a walk. False with the failure set when it could not begin, or failed on its way. */
bool store_rows_end(struct store_rows *rows, struct failure *failure);

/*
 * The newest reading of a point that passed, or the one with the number `id` if
 * that is not 0 and it has a value. Whether there is one; `rows` stands on it and is to
 * be ended either way.
 */
bool store_rows_reference(const struct store_look *look, const char *point, int64_t id,
                          struct store_rows *rows, struct store_row *row, bool *intact);

/* The latest round of a run that a reading of a point is of; 0: none. */
int64_t store_last_round(const struct store_look *look, const char *run, const char *point);

/* Which events. */
struct event_filter {
    unsigned kinds;      /* of these, 1u << EVENT_...; 0: of all */
    const char *subject; /* NULL: whatever */
    const char *member;  /* of the body, "$.plan": has to be ... */
    const char *value;   /* ... this text; NULL: whatever */
    const char *pick;    /* a member of the body to hand out instead of it; NULL: the body */
    int64_t after;       /* ids above this; 0: all */
    size_t limit;        /* 0: no end */
    bool newest_first;
};

/* A walk over events; end each one. */
struct store_events {
    const struct store_look *look;
    struct sqlite3_stmt *at;
    int code; /* of the last step */
};

/* Begins a walk. */
struct store_events store_events_begin(const struct store_look *look,
                                       const struct event_filter *filter);

/*
 * The next event; false when there is none, or when the walk failed. Texts are
 * valid until the walk goes on. What `pick` named stands in `body`.
 */
bool store_events_next(struct store_events *events, struct store_event *event);

/* Ends a walk. False with the failure set when it could not begin, or failed on its way. */
bool store_events_end(struct store_events *events, struct failure *failure);

/* Whether rows with ids from `first` to `last` were removed by policy. */
bool store_was_pruned(const struct store_look *look, int64_t first, int64_t last);

#endif
