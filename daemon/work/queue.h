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

/* Takes an item out of turn. False when it is not in the queue. */
bool queue_remove(struct queue *queue, struct queued *item);

#endif
