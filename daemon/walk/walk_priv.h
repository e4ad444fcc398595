/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What the files of walks share. */
#ifndef GRADUS_DAEMON_WALK_PRIV_H
#define GRADUS_DAEMON_WALK_PRIV_H

#include "core/touch/touch.h"
#include "daemon/loop/loop.h"
#include "walk.h"

#include <sys/queue.h>

/* What became of a place. */
enum place_state { PLACE_OPEN, PLACE_READ, PLACE_NO_READING, PLACE_SKIPPED };

struct place_record {
    char point[BENCH_NAME];
    enum place_state state;
    enum verdict verdict; /* PLACE_READ */
    double value;         /* PLACE_READ: tip units */
};

struct walk {
    struct walks *walks;
    char name[BENCH_NAME]; /* of the sheet and when it began */
    char sheet[BENCH_NAME];
    size_t count;
    struct place_record *places; /* in the order of the sheet; owned */
    size_t at;                   /* whose turn it is; count: all are done */
    size_t last;                 /* the one that was read last; count: none */
    bool led;                    /* the client says whose turn it is */
    bool idle;                   /* led: nobody's, before the client has said so */
    char *job;                   /* JSON of the customer's job; owned; NULL: of none */
    char by[PRINCIPAL_NAME];     /* who walks, or did last */

    /* While a client walks it. */
    struct session *session; /* NULL: it was left */
    uint64_t number;         /* of the subscription */
    uint64_t missed;         /* notifications dropped, not told yet */
    struct bench *bench;     /* that it was begun with; a reference */
    struct feeler touch;
    size_t watched;              /* the place that the touch is of; count: none yet */
    struct glance_ranges ranges; /* of the watched input */
    enum touch_state told;
    double first;       /* time of the first look since the touch was begun; NAN: none yet */
    bool lift;          /* that the tip has to be lifted first was told since */
    bool away;          /* the instrument cannot be reached, and that was told */
    size_t elsewhere;   /* place that refused a reading which is another's; count: none */
    struct job *work;   /* that is open; NULL: none */
    struct event *next; /* when the next look is due */
    struct moment looked;
    LIST_ENTRY(walk) entry;
};

struct walks {
    struct loop *loop;
    LIST_HEAD(walk_list, walk) list;
    struct text outcome; /* kept for its memory */
};

/* A walk of a sheet of the present bench with nothing done; in the list. NULL: no memory. */
struct walk *walk_new(struct walks *walks, const struct bench_sheet *sheet, const char *name);

/* Frees a walk that nobody walks. */
void walk_free(struct walk *walk);

/* The first place from `from` on, around the end, that is still open; count: none is. */
size_t walk_open_place(const struct walk *walk, size_t from);

/* Whose turn it is, as the settings have it. */
const struct bench_place *walk_place(const struct walk *walk);

/* The text of a place's state. */
const char *place_state_name(enum place_state state);

/* walk_hand.c: looks for the walk's client from now on, and ends that. */
bool walk_watch(struct walk *walk);
void walk_unwatch(struct walk *walk);

/* walk_hand.c: the turn has changed; what is watched begins anew where that is another input. */
void walk_turn(struct walk *walk);

/*
 * The same, by somebody's word and not because the place before was read: what
 * the probe is on already is nobody's, it has to be lifted first.
 */
void walk_turn_by_key(struct walk *walk);

/* walk.c: a place has its outcome; whose turn is next. False when the walk is over. */
bool walk_next(struct walk *walk);

/* walk_record.c: whether a job is the walk's own: its name, serial number and stage. */
bool walk_same_unit(const struct walk *walk, const char *job);

/* walk.c: all are done, or it cannot go on; told and on record. Frees what the client had. */
void walk_finish(struct walk *walk, const char *why, bool for_good);

/* walk_tell.c: notifications. */
void walk_tell_state(struct walk *walk);
void walk_tell_place(struct walk *walk);
void walk_tell_outcome(struct walk *walk, size_t place, const struct job *job);
void walk_tell_elsewhere(struct walk *walk, size_t place, size_t like, const struct job *job);
void walk_tell_away(struct walk *walk, const struct failure *failure);
void walk_tell_finished(struct walk *walk, const char *why);

/* walk_record.c: on record, where there is a store. */
void walk_record_began(struct walk *walk);
void walk_record_place(struct walk *walk, size_t place);
void walk_record_note(struct walk *walk, size_t place, const char *note);
void walk_record_ended(struct walk *walk, const char *why);

#endif
