/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Walks: the places of a sheet measured one after the other by a probe that a
 * hand moves. The input is looked at again and again; when the touch detector
 * (core/touch) says that the probe is on something that holds still, the
 * place whose turn it is gets its reading, and the next one its turn.
 *
 * A glance at a time is queued, so that whoever else wants the instrument is
 * served between any two. What is reached is on record; a walk that its client
 * leaves, or that the daemon's end interrupts, goes on where it was.
 *
 * All functions are for the loop thread.
 */
#ifndef GRADUS_DAEMON_WALK_H
#define GRADUS_DAEMON_WALK_H

#include "core/basics/failure.h"
#include "daemon/basics/json_text.h"
#include "daemon/work/session.h"

#include <stdbool.h>
#include <stdint.h>

struct loop;
struct walk;
struct walks;

/* What the person at the bench wants. */
enum walk_key {
    WALK_KEY_ON,    /* the probe is on the place, whatever it looks like; or in the air, at first */
    WALK_KEY_BACK,  /* to the place before */
    WALK_KEY_AGAIN, /* the place that was read last once more */
    WALK_KEY_SKIP,  /* this place is left out */
    WALK_KEYS
};

/* No walks yet. NULL when memory is short. */
struct walks *walks_new(struct loop *loop);

/* Forgets all of them; what is on record stays. Accepts NULL. */
void walks_free(struct walks *walks);

/* Reads back from the store, if there is one, which walks were left. */
void walks_restore(struct walks *walks);

/* What is to be walked, and how. */
struct walk_order {
    const char *sheet;
    const char *job; /* JSON of the customer's job that the readings belong to; NULL: not said */
    bool anew;       /* not where it was left */
    bool led;        /* the client says with walk_go() whose turn it is, each time */
};

/*
 * Begins to walk a sheet for a session, or goes on where it was left, unless
 * `anew`; then it belongs to the job that it was begun for, and another one is
 * refused. One that is led is over once it is left. `resumed`: whether it goes
 * on. The walk's first notification leaves later than this returns. NULL with
 * the failure set when there is no such sheet or another walk uses its inputs.
 */
const struct walk *walk_begin(struct walks *walks, struct session *session,
                              const struct walk_order *order, bool *resumed,
                              struct failure *failure);

/* walk_tell.c: what the walk's client has to know when it begins, as JSON. */
void walk_encode(struct text *text, const struct walk *walk, bool resumed);

/* It is the turn of a point of the sheet now; whatever the probe is on has to be lifted off first. */
bool walk_go(struct walks *walks, const struct session *session, uint64_t number, const char *point,
             struct failure *failure);

/* The sheet that is being walked with a probe at an input; NULL: none is. */
const char *walks_at_input(const struct walks *walks, size_t instrument, int input);

/* A key for the walk of a session with that subscription. */
bool walk_key(struct walks *walks, const struct session *session, uint64_t number,
              enum walk_key key, struct failure *failure);

/* A note on the place whose turn it is, or that was read last where that is still touched. */
bool walk_note(struct walks *walks, const struct session *session, uint64_t number,
               const char *note, struct failure *failure);

/* Leaves a walk, to go on later; or ends it for good. False when the session has none of it. */
bool walk_leave(struct walks *walks, const struct session *session, uint64_t number, bool for_good);

/* Leaves all walks of a session that goes; says nothing to it. */
void walks_dismiss(struct walks *walks, const struct session *session);

/* Leaves all walks and tells their clients that the daemon is stopping. */
void walks_stop(struct walks *walks);

#endif
