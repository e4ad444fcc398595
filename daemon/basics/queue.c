/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "queue.h"

/* The link that points to the lane of a key, or the one at the end. */
static struct queued **lane_of(struct queue *queue, uint64_t key)
{
    struct queued **link = &queue->lanes;
    while (*link != NULL && (*link)->key != key)
        link = &(*link)->next_lane;
    return link;
}

static void lane_append(struct queue *queue, struct queued *first)
{
    struct queued **link = &queue->lanes;
    while (*link != NULL)
        link = &(*link)->next_lane;
    first->next_lane = NULL;
    *link = first;
}

void queue_push(struct queue *queue, struct queued *item)
{
    struct queued *first = *lane_of(queue, item->key);
    item->next = NULL;
    item->tail = item;
    item->next_lane = NULL;
    if (first == NULL) {
        lane_append(queue, item);
    } else {
        first->tail->next = item;
        first->tail = item;
    }
    queue->count++;
}

/* Takes the first item of the lane that a link points to; the lane goes to the end. */
static struct queued *pop_lane(struct queue *queue, struct queued **link)
{
    struct queued *first = *link;
    *link = first->next_lane;
    if (first->next != NULL) {
        first->next->tail = first->tail;
        lane_append(queue, first->next);
    }
    queue->count--;
    return first;
}

struct queued *queue_pop(struct queue *queue)
{
    return queue->lanes != NULL ? pop_lane(queue, &queue->lanes) : NULL;
}

struct queued *queue_pop_fit(struct queue *queue, bool (*fits)(const struct queued *item))
{
    struct queued **link = &queue->lanes;
    while (*link != NULL && !fits(*link))
        link = &(*link)->next_lane;
    return *link != NULL ? pop_lane(queue, link) : NULL;
}

/* Removes the first of a lane; the lane keeps its turn. */
static void remove_first(struct queued **link)
{
    struct queued *first = *link;
    struct queued *next = first->next;
    if (next == NULL) {
        *link = first->next_lane;
        return;
    }
    next->tail = first->tail;
    next->next_lane = first->next_lane;
    *link = next;
}

bool queue_remove(struct queue *queue, struct queued *item)
{
    struct queued **link = lane_of(queue, item->key);
    struct queued *first = *link;
    if (first == NULL)
        return false;
    if (first == item) {
        remove_first(link);
        queue->count--;
        return true;
    }
    struct queued *before = first;
    while (before->next != NULL && before->next != item)
        before = before->next;
    if (before->next == NULL)
        return false;
    before->next = item->next;
    if (first->tail == item)
        first->tail = before;
    queue->count--;
    return true;
}

void party_push(struct party_queue *queue, uint64_t party, struct queued *item)
{
    queue_push(&queue->parties[party % PARTIES], item);
    queue->count++;
}

static bool fits_always(const struct queued *item)
{
    (void)item;
    return true;
}

struct queued *party_pop(struct party_queue *queue)
{
    return party_pop_fit(queue, fits_always);
}

struct queued *party_pop_fit(struct party_queue *queue, bool (*fits)(const struct queued *item))
{
    for (size_t i = 1; i <= PARTIES && queue->count > 0; i++) {
        size_t turn = (queue->last + i) % PARTIES;
        struct queued *item = queue_pop_fit(&queue->parties[turn], fits);
        if (item == NULL)
            continue;
        queue->last = turn;
        queue->count--;
        return item;
    }
    return NULL;
}

bool party_remove(struct party_queue *queue, uint64_t party, struct queued *item)
{
    bool removed = queue_remove(&queue->parties[party % PARTIES], item);
    queue->count -= removed;
    return removed;
}
