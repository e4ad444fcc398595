/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * A fair queue: every key (a client) has a lane of its own, lanes take
 * turns, and within a lane the first in is the first out. A client that
 * queues a thousand jobs so delays the next client by one job only.
 *
 * Items carry their own links, so that queueing never needs memory. Not
 * locked: the owner does that.
 */
#ifndef GRADUS_DAEMON_QUEUE_H
#define GRADUS_DAEMON_QUEUE_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

/* The part of an item the queue needs; embed it. Only `key` is the owner's. */
struct queued {
    uint64_t key;
    struct queued *next;      /* in the same lane */
    struct queued *tail;      /* first of a lane: the last of it */
    struct queued *next_lane; /* first of a lane: the first of the next lane */
};

/* Start with {0}. */
struct queue {
    struct queued *lanes;
    size_t count;
};

/* Appends an item to the lane of its key. It must not be in a queue. */
void queue_push(struct queue *queue, struct queued *item);

/* Takes the first item of the lane whose turn it is; NULL when there is none. */
struct queued *queue_pop(struct queue *queue);

/*
 * Takes the first item that is the first of its lane and fits, lanes in their order; the next lane
 * has its turn after. NULL when none does.
 */
struct queued *queue_pop_fit(struct queue *queue, bool (*fits)(const struct queued *item));

/* Takes an item out of turn. False when it is not in the queue. */
bool queue_remove(struct queue *queue, struct queued *item);

/* Parties are told apart by this many remainders of their numbers: two may have to share a turn. */
enum { PARTIES = 64 };

/*
 * Queues of parties that take turns, so that nobody gets more by having more lanes. Start with {0}.
 */
struct party_queue {
    struct queue parties[PARTIES];
    size_t last; /* whose turn it was */
    size_t count;
};

/* As queue_push(), queue_pop(), queue_pop_fit() and queue_remove(), of the party of that number. */
void party_push(struct party_queue *queue, uint64_t party, struct queued *item);
struct queued *party_pop(struct party_queue *queue);
struct queued *party_pop_fit(struct party_queue *queue, bool (*fits)(const struct queued *item));
bool party_remove(struct party_queue *queue, uint64_t party, struct queued *item);

#endif
