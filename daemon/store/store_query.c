/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "store_query.h"

#include "daemon/basics/thread.h"
#include "daemon/burnin/run_list.h"
#include "daemon/encode/encode.h"
#include "store_read.h"

#include <pthread.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* Rows that a verification goes on by before other questions have their turn. */
enum { STRIDE = 2000 };

struct store_reader {
    char path[512];
    struct mailbox *mailbox;
    void (*damaged)(void *context);
    void *context;
    pthread_t thread;

    pthread_mutex_t lock;
    pthread_cond_t changed;
    struct store_query *first; /* under the lock, as is stopping */
    struct store_query **end;
    bool stopping;
};

struct store_query *store_query_new(void)
{
    struct store_query *query = calloc(1, sizeof *query);
    if (query == NULL)
        return NULL;
    query->since_ns = INT64_MIN;
    query->until_ns = INT64_MAX;
    query->after = -1;
    query->before = INT64_MAX;
    query->limit = QUERY_MOST;
    return query;
}

void store_query_free(struct store_query *query)
{
    if (query == NULL)
        return;
    text_free(&query->text);
    free(query);
}

static void open_answer(struct letter *letter)
{
    struct store_query *query =
        (struct store_query *)(void *)((char *)letter - offsetof(struct store_query, letter));
    query->done(query);
}

static void reader_push(struct store_reader *reader, struct store_query *query)
{
    pthread_mutex_lock(&reader->lock);
    query->next = NULL;
    *reader->end = query;
    reader->end = &query->next;
    pthread_cond_signal(&reader->changed);
    pthread_mutex_unlock(&reader->lock);
}

/* The next question, or NULL when the thread is to end. */
static struct store_query *reader_next(struct store_reader *reader)
{
    pthread_mutex_lock(&reader->lock);
    while (!reader->stopping && reader->first == NULL)
        pthread_cond_wait(&reader->changed, &reader->lock);
    struct store_query *query = reader->stopping ? NULL : reader->first;
    if (query != NULL) {
        reader->first = query->next;
        if (reader->first == NULL)
            reader->end = &reader->first;
    }
    pthread_mutex_unlock(&reader->lock);
    return query;
}

static void encode_digest(struct text *text, const uint8_t digest[SEAL_SIZE])
{
    char hexadecimal[2 * SEAL_SIZE + 1];
    for (size_t i = 0; i < SEAL_SIZE; i++)
        snprintf(hexadecimal + 2 * i, 3, "%02x", digest[i]);
    text_member_string(text, "digest", hexadecimal);
}

static void encode_verification(struct text *text, const struct store_verify *verify)
{
    text_open(text, '{');
    text_member_bool(text, "intact", verify->what[0] == '\0');
    text_member_integer(text, "readings", (int64_t)verify->readings);
    text_member_integer(text, "events", (int64_t)verify->events);
    text_member_integer(text, "removed", (int64_t)verify->removed);
    text_member_integer(text, "last", verify->last);
    encode_digest(text, verify->digest);
    if (verify->what[0] != '\0') {
        text_member_integer(text, "first_bad", verify->first_bad);
        text_member_string(text, "what", verify->what);
    }
    text_close(text, '}');
}

static bool reader_verify(sqlite3 *sqlite, struct store_query *query, bool *ended)
{
    bool read = store_verify_walk(&query->walk, sqlite, STRIDE, &query->failure);
    *ended = !read || query->walk.ended;
    if (read && *ended)
        encode_verification(&query->text, &query->walk);
    return read;
}

/* Carries a question on; `ended` false: it is not answered yet. False with the failure set. */
static bool reader_answer(sqlite3 *sqlite, struct store_query *query, bool *ended)
{
    switch (query->question) {
    case QUESTION_READINGS:
        return store_read_page(sqlite, query);
    case QUESTION_VERIFY:
        return reader_verify(sqlite, query, ended);
    case QUESTION_RUNS:
        return store_read_runs(sqlite, query);
    case QUESTION_EVENTS:
        return store_read_events(sqlite, query);
    case QUESTION_STUDY:
        return store_read_study(sqlite, query);
    }
    return false;
}

/* Carries a question on; false when it is not answered yet. */
static bool reader_work(struct store_reader *reader, struct store_query *query)
{
    sqlite3 *sqlite = store_read_open(reader->path, &query->failure);
    bool read = sqlite != NULL;
    bool ended = true;
    if (read)
        read = reader_answer(sqlite, query, &ended);
    int code = sqlite != NULL ? sqlite3_errcode(sqlite) & 0xff : SQLITE_OK;
    sqlite3_close(sqlite);
    if (!read && (code == SQLITE_CORRUPT || code == SQLITE_NOTADB))
        reader->damaged(reader->context);
    return ended;
}

static void *reader_main(void *argument)
{
    struct store_reader *reader = argument;
    struct store_query *query;
    while ((query = reader_next(reader)) != NULL) {
        if (reader_work(reader, query))
            mailbox_post(reader->mailbox, &query->letter);
        else
            reader_push(reader, query);
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
    reader->end = &reader->first;
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

void store_reader_free(struct store_reader *reader)
{
    if (reader == NULL)
        return;
    pthread_mutex_lock(&reader->lock);
    reader->stopping = true;
    pthread_cond_signal(&reader->changed);
    pthread_mutex_unlock(&reader->lock);
    pthread_join(reader->thread, NULL);
    while (reader->first != NULL) {
        struct store_query *query = reader->first;
        reader->first = query->next;
        failure_set(&query->failure, FAILURE_STOPPING, NULL, NULL, "the store is being closed");
        mailbox_post(reader->mailbox, &query->letter);
    }
    pthread_cond_destroy(&reader->changed);
    pthread_mutex_destroy(&reader->lock);
    free(reader);
}
