/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The writing thread of the store. All that waits goes into one commit, and
 * while that is on its way to the disk the next group gathers: the slower the
 * disk, the larger the groups.
 */
#include "store_priv.h"
#include "store_prune.h"
#include "store_retention.h"

#include "daemon/basics/wall_clock.h"
#include "drivers/basics/deadline.h"

#include <errno.h>
#include <inttypes.h>
#include <stdio.h>
#include <string.h>

/* Most records in one commit. */
enum { GROUP_MOST = 500 };

static const struct duration first_pause = { 50 * MILLISECOND_NS };
static const struct duration longest_pause = { 2 * SECOND_NS };
/* Far longer than a commit takes on a slow disk. */
static const struct duration longest_commit = { 300 * SECOND_NS };
static const struct duration prune_period = { 600 * SECOND_NS };

/* Waits for a change until a moment; false when that has come. */
static bool wait_until(struct store *store, struct moment moment)
{
    const struct timespec until = moment_timespec(moment);
    return pthread_cond_timedwait(&store->changed, &store->lock, &until) != ETIMEDOUT;
}

/* Moves what waits to the group, or to what is left of it since it could not be written. */
static void gather(struct store *store)
{
    while (store->first != NULL && store->group_count < GROUP_MOST) {
        struct record *record = store->first;
        store->first = record->next;
        record->next = NULL;
        *store->group_end = record;
        store->group_end = &record->next;
        store->group_count++;
    }
    if (store->first == NULL)
        store->end = &store->first;
}

/* When there is something to look at although nobody has asked. */
static struct moment next_look(const struct store *store)
{
    struct moment anchor = anchors_next(&store->anchors, store->db);
    return moment_before(anchor, store->prune_next) ? anchor : store->prune_next;
}

/* Waits for something to do; false when that is to end. */
static bool wait_for_work(struct store *store, bool *suspect)
{
    pthread_mutex_lock(&store->lock);
    while (store->first == NULL && store->group == NULL && !store->stopping && !store->suspect &&
           store->allowed.ns == 0 && store->db != NULL && wait_until(store, next_look(store)))
        continue;
    gather(store);
    if (store->allowed.ns != 0)
        store->prune_next = monotonic_now();
    *suspect = store->suspect;
    store->suspect = false;
    bool end = store->stopping && store->group == NULL;
    pthread_mutex_unlock(&store->lock);
    return !end;
}

/* The group is durable: it goes back to the loop thread. */
static void hand_back(struct store *store)
{
    pthread_mutex_lock(&store->lock);
    *store->written_end = store->group;
    store->written_end = store->group_end;
    store->view.held -= store->group_count;
    store->view.written += store->group_count;
    store->view.commits++;
    store_wake_loop(store);
    pthread_mutex_unlock(&store->lock);
    store->group = NULL;
    store->group_end = &store->group;
    store->group_count = 0;
}

/* Puts a damaged file out of the way and begins a new one, saying so. */
static void set_aside(struct store *store, const struct failure *why)
{
    char text[600];
    char name[STORE_ASIDE];
    struct failure failure = { 0 };
    store_db_leave(store->db);
    store->db = NULL;
    log_line(LOG_PRIORITY_ERROR, "%s", failure_text(why, text, sizeof text));
    store_db_aside_name(store->settings.path, name);
    /* Before it goes: a kill between the two must not look as if rows had been taken away. */
    if (!anchors_aside(&store->anchors, name, &failure))
        log_line(LOG_PRIORITY_ERROR, "%s", failure_text(&failure, text, sizeof text));
    failure_clear(&failure);
    if (!store_db_set_aside(store->settings.path, name, &failure)) {
        log_line(LOG_PRIORITY_ERROR, "%s", failure_text(&failure, text, sizeof text));
        return;
    }
    memcpy(store->follows, name, sizeof name);
    log_line(LOG_PRIORITY_ERROR, "%s: the damaged database was set aside as %s, a new one is begun",
             store->settings.path, name);
    pthread_mutex_lock(&store->lock);
    store->view.set_aside++;
    pthread_mutex_unlock(&store->lock);
}

enum store_state store_open_db(struct store *store, struct failure *failure)
{
    const char *follows = store->follows[0] != '\0' ? store->follows : NULL;
    uint64_t missing = 0;
    enum store_state state = store_guard_take(&store->guard, store->settings.path, failure);
    if (state == STORE_WELL)
        state = store_db_open(store->settings.path, follows, &store->db, failure);
    if (state != STORE_WELL)
        return state;
    state = anchors_compare(&store->anchors, store->db, &missing, failure);
    if (state != STORE_WELL) {
        store_db_leave(store->db);
        store->db = NULL;
    }
    pthread_mutex_lock(&store->lock);
    store->view.missing = missing;
    pthread_mutex_unlock(&store->lock);
    return state;
}

/* Opens the database if it is not; one that is damaged gives way to a new one. */
static enum store_state open_db(struct store *store, struct failure *failure)
{
    if (store->db != NULL)
        return STORE_WELL;
    enum store_state state = store_open_db(store, failure);
    if (state == STORE_DAMAGED)
        set_aside(store, failure);
    return state;
}

static void note_state(struct store *store, enum store_state state, const struct failure *failure)
{
    pthread_mutex_lock(&store->lock);
    if ((store->view.state == STORE_WELL) != (state == STORE_WELL)) {
        store->turned = true;
        store_wake_loop(store);
    }
    store->view.state = state;
    store->view.failure = *failure;
    pthread_mutex_unlock(&store->lock);
}

/* All is well again, or still. */
static void recover(struct store *store)
{
    if (store->pause.ns == 0)
        return;
    store->pause = (struct duration) { 0 };
    log_trouble_over(&store->trouble, "store", monotonic_now());
    note_state(store, STORE_WELL, &(const struct failure) { 0 });
}

/* Tells what is wrong and waits before the next try; false when there will be none. */
static bool despair(struct store *store, enum store_state state, const struct failure *failure)
{
    log_trouble_failed(&store->trouble, "store", failure, monotonic_now());
    note_state(store, state, failure);
    store->pause = duration_doubled(store->pause, first_pause, longest_pause);
    const struct moment until = moment_plus(monotonic_now(), store->pause);
    pthread_mutex_lock(&store->lock);
    bool again = !store->stopping;
    while (!store->stopping && wait_until(store, until))
        continue;
    pthread_mutex_unlock(&store->lock);
    return again;
}

/* A connection that may not see any more what is there is opened anew. */
static void let_go(struct store *store, enum store_state state, const struct failure *failure)
{
    if (state == STORE_DAMAGED && store->db != NULL) {
        set_aside(store, failure);
    } else if (state != STORE_LOCKED && state != STORE_FULL) {
        store_db_close(store->db);
        store->db = NULL;
    }
}

static enum store_state write_group(struct store *store, struct failure *failure)
{
    enum store_state state = open_db(store, failure);
    if (state != STORE_WELL || store->group == NULL)
        return state;
    progress_begin(&store->progress, moment_plus(monotonic_now(), longest_commit));
    state = store_db_write(store->db, store->group, store->group_count, failure);
    progress_end(&store->progress);
    if (state == STORE_WELL)
        hand_back(store);
    return state;
}

/* Says what waits to be removed, again and again, but not each time. */
static void tell_waiting(struct store *store, const struct store_removal *removal)
{
    struct failure failure = { 0 };
    char before[ENCODE_TIME_SIZE];
    if (removal->wait == STORE_WAITS_NOT) {
        log_trouble_over(&store->waiting, "store: removal by policy", monotonic_now());
        return;
    }
    encode_time(before, removal->before);
    failure_set(&failure, FAILURE_SYSTEM, store->settings.path, NULL,
                removal->wait == STORE_WAITS_CLOCK
                    ? "%" PRIu64 " rows from before %s would be removed, but nothing says that the "
                      "clock is right: it waits for a time server, or for gradus prune %s"
                    : "%" PRIu64 " rows from before %s would be removed, which is so large a share "
                      "that an administrator has to allow it: gradus prune %s",
                removal->rows, before, before);
    log_trouble_failed(&store->waiting, "store: removal by policy", &failure, monotonic_now());
}

/* Begins a round of pruning: from when ages count in it. */
static enum store_state begin_round(struct store *store, struct failure *failure)
{
    struct store_removal removal;
    const struct retention_clocks clocks = retention_clocks_now();
    pthread_mutex_lock(&store->lock);
    store->retention.allowed = store->allowed;
    store->allowed.ns = 0;
    pthread_mutex_unlock(&store->lock);
    enum store_state state = store_retention_look(&store->retention, store->db, &store->settings,
                                                  &clocks, &store->prune_from, &removal, failure);
    if (state != STORE_WELL)
        return state;
    tell_waiting(store, &removal);
    pthread_mutex_lock(&store->lock);
    store->view.removal = removal;
    pthread_mutex_unlock(&store->lock);
    store->pruning = wall_time_before(WALL_TIME_FIRST, store->prune_from);
    return STORE_WELL;
}

/* Removes what is past its time, a step at a turn while there is more of it. */
static enum store_state prune(struct store *store, struct failure *failure)
{
    uint64_t removed = 0;
    bool more = false;
    if (store->db == NULL || moment_before(monotonic_now(), store->prune_next))
        return STORE_WELL;
    enum store_state state = store->pruning ? STORE_WELL : begin_round(store, failure);
    if (state == STORE_WELL && store->pruning)
        state =
            store_prune(store->db, &store->settings, store->prune_from, &removed, &more, failure);
    if (state == STORE_WELL) {
        store->pruning = more;
        store->prune_next = more ? monotonic_now() : moment_plus(monotonic_now(), prune_period);
    }
    pthread_mutex_lock(&store->lock);
    if (store->allowed.ns != 0)
        store->prune_next = monotonic_now();
    store->view.removed += removed;
    pthread_mutex_unlock(&store->lock);
    return state;
}

/* What the reading thread took for damage may be: a look of the writing one decides. */
static enum store_state look(struct store *store, bool suspect, struct failure *failure)
{
    if (!suspect || store->db == NULL)
        return STORE_WELL;
    return store_db_check(store->db, failure);
}

void *store_writer(void *argument)
{
    struct store *store = argument;
    bool suspect;
    while (wait_for_work(store, &suspect)) {
        struct failure failure = { 0 };
        enum store_state state = look(store, suspect, &failure);
        if (state == STORE_WELL)
            state = write_group(store, &failure);
        if (state == STORE_WELL)
            state = prune(store, &failure);
        if (store->db != NULL)
            anchors_follow(&store->anchors, store->db, false);
        if (state == STORE_WELL) {
            recover(store);
            continue;
        }
        let_go(store, state, &failure);
        if (!despair(store, state, &failure))
            break;
    }
    if (store->db != NULL)
        anchors_follow(&store->anchors, store->db, true);
    return NULL;
}
