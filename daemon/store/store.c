/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The loop thread's side of the store. */
#include "store_priv.h"

#include "daemon/basics/thread.h"

#include <errno.h>
#include <fcntl.h>
#include <stddef.h>
#include <stdlib.h>
#include <string.h>
#include <sys/file.h>
#include <unistd.h>

void store_wake_loop(struct store *store)
{
    if (!store->posted)
        mailbox_post(store->mailbox, &store->letter);
    store->posted = true;
}

static void hand_back(struct record *record)
{
    while (record != NULL) {
        struct record *next = record->next;
        if (record->done != NULL)
            record->done(record);
        record_free(record);
        record = next;
    }
}

static void open_letter(struct letter *letter)
{
    struct store *store = (struct store *)(void *)((char *)letter - offsetof(struct store, letter));
    pthread_mutex_lock(&store->lock);
    struct record *written = store->written;
    bool turned = store->turned;
    store->written = NULL;
    store->written_end = &store->written;
    store->turned = false;
    store->posted = false;
    pthread_mutex_unlock(&store->lock);
    hand_back(written);
    if (turned)
        store->hooks.changed(store->hooks.context);
}

/* On the reading thread: the writing one had better look for itself. */
static void on_damaged(void *context)
{
    struct store *store = context;
    pthread_mutex_lock(&store->lock);
    store->suspect = true;
    pthread_cond_signal(&store->changed);
    pthread_mutex_unlock(&store->lock);
}

/*
 * Only one process may write (store_db.h). This lock goes by the path and
 * outlives any one database there; store_guard's goes by the file.
 */
static bool lock_out_others(struct store *store, struct failure *failure)
{
    char path[sizeof store->settings.path + 8];
    snprintf(path, sizeof path, "%s.lock", store->settings.path);
    store->lock_file = open(path, O_RDWR | O_CREAT | O_NOFOLLOW | O_NONBLOCK | O_CLOEXEC, 0600);
    if (store->lock_file < 0 || flock(store->lock_file, LOCK_EX | LOCK_NB) == 0)
        return true; /* where no file can be made, nothing can be written either */
    return failure_set(failure, FAILURE_SYSTEM, path, NULL, "another process writes this store");
}

/* Opens the database; fails only when waiting would not help. */
static bool open_first(struct store *store, struct failure *failure)
{
    struct failure now = { 0 };
    enum store_state state = store_open_db(store, &now);
    if (state == STORE_FOREIGN)
        *failure = now;
    return state != STORE_FOREIGN;
}

static bool start(struct store *store, struct failure *failure)
{
    if (!anchors_begin(&store->anchors, &store->settings, failure) ||
        !lock_out_others(store, failure) || !open_first(store, failure))
        return false;
    store->reader = store_reader_new(store->settings.path, store->mailbox, on_damaged, store);
    store->started = store->reader != NULL && thread_start(&store->thread, store_writer, store);
    return store->started || failure_set(failure, FAILURE_NO_MEMORY, store->settings.path, NULL,
                                         "no thread could be started for the store");
}

struct store *store_new(const struct bench_store *settings, struct mailbox *mailbox,
                        const struct store_hooks *hooks, struct failure *failure)
{
    struct store *store = calloc(1, sizeof *store);
    if (store == NULL) {
        failure_no_memory(failure, "the store");
        return NULL;
    }
    pthread_condattr_t monotonic;
    pthread_condattr_init(&monotonic);
    pthread_condattr_setclock(&monotonic, CLOCK_MONOTONIC);
    pthread_cond_init(&store->changed, &monotonic);
    pthread_condattr_destroy(&monotonic);
    pthread_mutex_init(&store->lock, NULL);
    store->settings = *settings;
    store->mailbox = mailbox;
    store->hooks = *hooks;
    store->lock_file = -1;
    store->guard.file = -1;
    store->end = &store->first;
    store->written_end = &store->written;
    store->group_end = &store->group;
    store->view.hold = settings->hold;
    store->letter.open = open_letter;
    if (!start(store, failure)) {
        store_free(store);
        return NULL;
    }
    return store;
}

void store_stop(struct store *store)
{
    if (store == NULL)
        return;
    /* The reading thread first: the last connection to go is then the one that may write. */
    store_reader_free(store->reader);
    store->reader = NULL;
    pthread_mutex_lock(&store->lock);
    store->stopping = true;
    pthread_cond_signal(&store->changed);
    pthread_mutex_unlock(&store->lock);
    if (store->started)
        pthread_join(store->thread, NULL);
    store->started = false;
    if (store->view.held > 0)
        log_line(LOG_PRIORITY_ERROR, "%s: %zu readings could not be written and are lost",
                 store->settings.path, store->view.held);
}

static void free_records(struct record *record)
{
    while (record != NULL) {
        struct record *next = record->next;
        record_free(record);
        record = next;
    }
}

void store_free(struct store *store)
{
    if (store == NULL)
        return;
    store_stop(store);
    free_records(store->group);
    free_records(store->first);
    free_records(store->written);
    store_db_close(store->db);
    store_guard_end(&store->guard);
    if (store->lock_file >= 0)
        close(store->lock_file);
    pthread_cond_destroy(&store->changed);
    pthread_mutex_destroy(&store->lock);
    free(store);
}

/* Says that readings are lost to the store: at once, then thinned, and when that is over. */
static void note_refusal(struct store *store, bool taken)
{
    struct failure failure = { 0 };
    struct moment now = monotonic_now();
    if (taken) {
        log_trouble_over(&store->refusing, "store.hold", now);
        return;
    }
    failure_set(&failure, FAILURE_OVERLOADED, NULL, NULL,
                "%zu readings are held, as many as store.hold allows: this one is not kept",
                store->settings.hold);
    log_trouble_failed(&store->refusing, "store.hold", &failure, now);
}

bool store_append(struct store *store, struct record *record)
{
    record->next = NULL;
    pthread_mutex_lock(&store->lock);
    bool taken = store->view.held < store->view.hold;
    if (taken) {
        *store->end = record;
        store->end = &record->next;
        store->view.held++;
    } else {
        store->view.refused++;
    }
    pthread_mutex_unlock(&store->lock);
    if (taken)
        pthread_cond_signal(&store->changed);
    note_refusal(store, taken);
    return taken;
}

void store_ask(struct store *store, struct store_query *query)
{
    store_reader_ask(store->reader, query);
}

bool store_allow(struct store *store, struct wall_time before, struct failure *failure)
{
    char last[ENCODE_TIME_SIZE];
    pthread_mutex_lock(&store->lock);
    struct store_removal removal = store->view.removal;
    bool waits = removal.wait != STORE_WAITS_NOT && before.ns > 0;
    bool allowed = waits && !wall_time_before(removal.before, before);
    if (allowed) {
        store->allowed = before;
        pthread_cond_signal(&store->changed);
    }
    pthread_mutex_unlock(&store->lock);
    if (!waits)
        return failure_set(failure, FAILURE_SETTINGS, "prune", NULL, "nothing waits to be removed");
    return allowed ||
           failure_set(failure, FAILURE_SETTINGS, "prune", encode_time(last, removal.before),
                       "later than what waits to be removed");
}

const struct anchor_key *store_anchor_key(const struct store *store)
{
    return &store->anchors.key;
}

bool store_is_late(struct store *store, struct moment now)
{
    return progress_is_late(&store->progress, now) || store_reader_is_late(store->reader, now);
}

struct store_view store_view(struct store *store)
{
    pthread_mutex_lock(&store->lock);
    struct store_view view = store->view;
    pthread_mutex_unlock(&store->lock);
    return view;
}
