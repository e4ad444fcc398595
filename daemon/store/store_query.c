/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "store_query.h"

#include "daemon/basics/progress.h"
#include "daemon/basics/thread.h"
#include "drivers/basics/deadline.h"

#include <pthread.h>
#include <stddef.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* Far longer than one turn at a question takes on a slow disk. */
static const struct duration longest_turn = { 300 * SECOND_NS };

struct store_reader {
    char path[512];
    struct mailbox *mailbox;
    void (*damaged)(void *context);
    void *context;
    pthread_t thread;
    struct progress progress;

    pthread_mutex_t lock;
    pthread_cond_t changed;
    struct queue queue; /* under the lock, as is stopping */
    bool stopping;
};

void *store_query_new(size_t size, store_query_read *read)
{
    struct store_query *query = calloc(1, size);
    if (query != NULL)
        query->read = read;
    return query;
}

void store_query_cancel(struct store_query *query)
{
    atomic_store_explicit(&query->unwanted, true, memory_order_relaxed);
}

void store_query_free(struct store_query *query)
{
    if (query == NULL)
        return;
    if (query->forget != NULL)
        query->forget(query);
    text_free(&query->text);
    free(query);
}

static void open_answer(struct letter *letter)
{
    struct store_query *query =
        (struct store_query *)(void *)((char *)letter - offsetof(struct store_query, letter));
    query->done(query);
}

/* The question whose turn it is; NULL: there is none. Under the lock. */
static struct store_query *reader_pop(struct store_reader *reader)
{
    struct queued *queued = queue_pop(&reader->queue);
    return queued != NULL ? (struct store_query *)(void *)((char *)queued -
                                                           offsetof(struct store_query, queued))
                          : NULL;
}

static void reader_push(struct store_reader *reader, struct store_query *query)
{
    pthread_mutex_lock(&reader->lock);
    query->queued.key = query->asker;
    queue_push(&reader->queue, &query->queued);
    pthread_cond_signal(&reader->changed);
    pthread_mutex_unlock(&reader->lock);
}

/* The next question, or NULL when the thread is to end. */
static struct store_query *reader_next(struct store_reader *reader)
{
    pthread_mutex_lock(&reader->lock);
    while (!reader->stopping && reader->queue.count == 0)
        pthread_cond_wait(&reader->changed, &reader->lock);
    struct store_query *query = reader->stopping ? NULL : reader_pop(reader);
    pthread_mutex_unlock(&reader->lock);
    return query;
}

/* Carries a question on; false when it is not answered yet. */
static bool reader_work(struct store_reader *reader, struct store_query *query)
{
    struct store_look look;
    bool ended = true;
    if (atomic_load_explicit(&query->unwanted, memory_order_relaxed))
        return true;
    if (!store_look_open(&look, reader->path, &query->failure))
        return true;
    if (!query->read(query, &look, &ended) && store_look_damaged(&look))
        reader->damaged(reader->context);
    store_look_close(&look);
    return ended;
}

static void *reader_main(void *argument)
{
    struct store_reader *reader = argument;
    struct store_query *query;
    while ((query = reader_next(reader)) != NULL) {
        progress_begin(&reader->progress, moment_plus(monotonic_now(), longest_turn));
        if (reader_work(reader, query))
            mailbox_post(reader->mailbox, &query->letter);
        else
            reader_push(reader, query);
        progress_end(&reader->progress);
    }
    return NULL;
}

struct store_reader *store_reader_new(const char *path, struct mailbox *mailbox,
                                      void (*damaged)(void *context), void *context)
{
    struct store_reader *reader = calloc(1, sizeof *reader);
    if (reader == NULL)
        return NULL;
    snprintf(reader->path, sizeof reader->path, "%s", path);
    reader->mailbox = mailbox;
    reader->damaged = damaged;
    reader->context = context;
    pthread_mutex_init(&reader->lock, NULL);
    pthread_cond_init(&reader->changed, NULL);
    if (!thread_start(&reader->thread, reader_main, reader)) {
        pthread_cond_destroy(&reader->changed);
        pthread_mutex_destroy(&reader->lock);
        free(reader);
        return NULL;
    }
    return reader;
}

void store_reader_ask(struct store_reader *reader, struct store_query *query)
{
    query->letter.open = open_answer;
    reader_push(reader, query);
}

bool store_reader_is_late(struct store_reader *reader, struct moment now)
{
    return progress_is_late(&reader->progress, now);
}

void store_reader_free(struct store_reader *reader)
{
    if (reader == NULL)
        return;
    pthread_mutex_lock(&reader->lock);
    reader->stopping = true;
    pthread_cond_signal(&reader->changed);
    pthread_mutex_unlock(&reader->lock);
    pthread_join(reader->thread, NULL);
    struct store_query *query;
    while ((query = reader_pop(reader)) != NULL) {
        failure_set(&query->failure, FAILURE_STOPPING, NULL, NULL, "the store is being closed");
        mailbox_post(reader->mailbox, &query->letter);
    }
    pthread_cond_destroy(&reader->changed);
    pthread_mutex_destroy(&reader->lock);
    free(reader);
}
