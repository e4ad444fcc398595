/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "walk_priv.h"

#include "daemon/basics/wall_clock.h"
#include "daemon/loop/notify.h"

#include <event2/event.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

struct walks *walks_new(struct loop *loop)
{
    struct walks *walks = calloc(1, sizeof *walks);
    if (walks == NULL)
        return NULL;
    walks->loop = loop;
    LIST_INIT(&walks->list);
    return walks;
}

struct walk *walk_new(struct walks *walks, const struct bench_sheet *sheet, const char *name)
{
    struct walk *walk = calloc(1, sizeof *walk);
    struct place_record *places = calloc(sheet->place_count + 1, sizeof *places);
    if (walk == NULL || places == NULL) {
        free(walk);
        free(places);
        return NULL;
    }
    walk->walks = walks;
    walk->places = places;
    walk->count = sheet->place_count;
    walk->last = walk->count;
    snprintf(walk->name, sizeof walk->name, "%s", name);
    snprintf(walk->sheet, sizeof walk->sheet, "%s", sheet->name);
    for (size_t i = 0; i < walk->count; i++) {
        const struct bench_point *point = &walks->loop->bench->points[sheet->places[i].point];
        memcpy(places[i].point, point->name, sizeof places[i].point);
    }
    LIST_INSERT_HEAD(&walks->list, walk, entry);
    return walk;
}

void walk_free(struct walk *walk)
{
    LIST_REMOVE(walk, entry);
    free(walk->job);
    free(walk->places);
    free(walk);
}

void walks_free(struct walks *walks)
{
    if (walks == NULL)
        return;
    struct walk *walk = LIST_FIRST(&walks->list);
    while (walk != NULL) {
        struct walk *next = LIST_NEXT(walk, entry);
        walk_free(walk);
        walk = next;
    }
    text_free(&walks->outcome);
    free(walks);
}

const char *place_state_name(enum place_state state)
{
    static const char *const names[] = {
        [PLACE_OPEN] = "open",
        [PLACE_READ] = "read",
        [PLACE_NO_READING] = "no reading",
        [PLACE_SKIPPED] = "skipped",
    };
    return names[state];
}

size_t walk_open_place(const struct walk *walk, size_t from)
{
    for (size_t i = 0; i < walk->count; i++) {
        size_t place = (from + i) % walk->count;
        if (walk->places[place].state == PLACE_OPEN)
            return place;
    }
    return walk->count;
}

const struct bench_place *walk_place(const struct walk *walk)
{
    const struct bench_sheet *sheet = bench_sheet(walk->bench, walk->sheet);
    return &sheet->places[walk->at];
}

/* Lets the client go; the walk stays. */
static void let_go(struct walk *walk)
{
    struct session *session = walk->session;
    walk_unwatch(walk);
    walk->session = NULL;
    bench_unref(walk->bench);
    walk->bench = NULL;
    notify_close(session);
}

/* The client goes, or is let go; one that is led is over then. */
static void leave(struct walk *walk, const char *why, bool for_good)
{
    let_go(walk);
    if (!for_good && !walk->led)
        return;
    walk_record_ended(walk, why);
    walk_free(walk);
}

void walk_finish(struct walk *walk, const char *why, bool for_good)
{
    walk_tell_finished(walk, why);
    leave(walk, why, for_good);
}

/* Whether a walk that was left still is what the sheet says. */
static bool still_fits(const struct walk *walk, const struct bench_sheet *sheet)
{
    const struct bench *bench = walk->walks->loop->bench;
    if (walk->count != sheet->place_count)
        return false;
    for (size_t i = 0; i < walk->count; i++)
        if (strcmp(walk->places[i].point, bench->points[sheet->places[i].point].name) != 0)
            return false;
    return true;
}

/* The walk of a sheet that was left. */
static struct walk *find_left(const struct walks *walks, const char *sheet)
{
    struct walk *walk;
    LIST_FOREACH(walk, &walks->list, entry)
    if (walk->session == NULL && strcmp(walk->sheet, sheet) == 0)
        return walk;
    return NULL;
}

const char *walks_at_input(const struct walks *walks, size_t instrument, int input)
{
    const struct walk *walk;
    LIST_FOREACH(walk, &walks->list, entry)
    {
        for (size_t i = 0; walk->session != NULL && i < walk->count; i++) {
            const struct bench_sheet *sheet = bench_sheet(walk->bench, walk->sheet);
            const struct bench_point *point = &walk->bench->points[sheet->places[i].point];
            if (point->instrument == instrument && point->input == input)
                return walk->sheet;
        }
    }
    return NULL;
}

/* Two hands at one input would take each other's touches for their own. */
static bool inputs_free(const struct walks *walks, const struct bench_sheet *sheet,
                        struct failure *failure)
{
    const struct bench *bench = walks->loop->bench;
    for (size_t i = 0; i < sheet->place_count; i++) {
        const struct bench_point *point = &bench->points[sheet->places[i].point];
        const char *other = walks_at_input(walks, point->instrument, point->input);
        if (other != NULL)
            return failure_set(failure, FAILURE_HELD, NULL, "one hand at a time",
                               "sheet %s is being walked by another client at input %d of %s",
                               other, point->input, bench->instruments[point->instrument].name);
    }
    return true;
}

static struct walk *find(const struct walks *walks, const struct session *session, uint64_t number)
{
    struct walk *walk;
    LIST_FOREACH(walk, &walks->list, entry)
    if (walk->session == session && walk->number == number)
        return walk;
    return NULL;
}

static bool no_walk(struct failure *failure)
{
    return failure_set(failure, FAILURE_SETTINGS, NULL, "the number that walk.start answered",
                       "this client has no such walk");
}

/* A name that no other walk has: the sheet's, and the time. */
static struct walk *begin_anew(struct walks *walks, const struct bench_sheet *sheet,
                               const struct walk_order *order, const char *by)
{
    char name[BENCH_NAME], time[24];
    const struct timespec now = wall_time_timespec(wall_time_now());
    struct tm parts;
    gmtime_r(&now.tv_sec, &parts);
    strftime(time, sizeof time, "%Y%m%dT%H%M%S", &parts);
    snprintf(name, sizeof name, "%.39s-%.15s.%03d", sheet->name, time,
             (int)(now.tv_nsec / MILLISECOND_NS % 1000));
    char *job = order->job != NULL ? strdup(order->job) : NULL;
    struct walk *walk = order->job == NULL || job != NULL ? walk_new(walks, sheet, name) : NULL;
    if (walk == NULL) {
        free(job);
        return NULL;
    }
    walk->job = job;
    walk->led = order->led;
    walk->idle = order->led;
    snprintf(walk->by, sizeof walk->by, "%s", by);
    walk_record_began(walk);
    return walk;
}

/* Attaches the client to the walk and begins to look. */
static bool attach(struct walk *walk, struct session *session, struct failure *failure)
{
    struct loop *loop = walk->walks->loop;
    walk->session = session;
    walk->bench = bench_ref(loop->bench);
    walk->number = notify_open(loop, session);
    walk->missed = 0;
    walk->at = walk_open_place(walk, walk->at % walk->count);
    walk->elsewhere = walk->count;
    if (walk_watch(walk))
        return true;
    leave(walk, "no memory", false);
    failure_no_memory(failure, "a walk");
    return false;
}

/* Whether the sheet can be walked by this client now. */
static bool may_begin(const struct walks *walks, const struct session *session,
                      const struct bench_sheet *sheet, struct failure *failure)
{
    if (walks->loop->stopping)
        return failure_set(failure, FAILURE_STOPPING, NULL, NULL, "no new work is accepted");
    if (session->subscriptions >= SESSION_MAX_SUBSCRIPTIONS)
        return failure_set(failure, FAILURE_OVERLOADED, NULL, NULL,
                           "this client has %zu subscriptions", session->subscriptions);
    return inputs_free(walks, sheet, failure);
}

/* Goes on with a walk that was left, where that is wanted; `walk` is NULL when there is none to go on with. */
static bool resume(struct walk **walk, const struct bench_sheet *sheet,
                   const struct walk_order *order, const struct session *session,
                   struct failure *failure)
{
    if (*walk == NULL)
        return true;
    bool fits = still_fits(*walk, sheet);
    if (!order->anew && fits && order->job != NULL && !walk_same_unit(*walk, order->job))
        return failure_set(failure, FAILURE_SETTINGS, NULL,
                           "anew, or no job, which goes on with that one",
                           "the walk of %s that was left is of another job or unit", sheet->name);
    snprintf((*walk)->by, sizeof(*walk)->by, "%s", session->who.name);
    if (!order->anew && fits)
        return true;
    walk_record_ended(*walk, order->anew ? "begun anew" : "the sheet has changed");
    walk_free(*walk);
    *walk = NULL;
    return true;
}

const struct walk *walk_begin(struct walks *walks, struct session *session,
                              const struct walk_order *order, bool *resumed,
                              struct failure *failure)
{
    const struct bench_sheet *sheet = loop_sheet(walks->loop, order->sheet, failure);
    if (sheet == NULL || !may_begin(walks, session, sheet, failure))
        return NULL;
    struct walk *walk = order->led ? NULL : find_left(walks, order->sheet);
    if (!resume(&walk, sheet, order, session, failure))
        return NULL;
    *resumed = walk != NULL;
    if (walk == NULL)
        walk = begin_anew(walks, sheet, order, session->who.name);
    if (walk == NULL)
        failure_no_memory(failure, "a walk");
    return walk != NULL && attach(walk, session, failure) ? walk : NULL;
}

/* Goes back to a place that has its outcome; the probe has to come down on it once more. */
static void reopen(struct walk *walk, size_t place)
{
    walk->places[place].state = PLACE_OPEN;
    walk->at = place;
    walk_turn_by_key(walk);
    walk_tell_place(walk);
}

static void skip(struct walk *walk)
{
    walk->places[walk->at].state = PLACE_SKIPPED;
    walk_record_place(walk, walk->at);
    walk_tell_outcome(walk, walk->at, NULL);
    walk_turn_by_key(walk);
    walk_next(walk);
}

bool walk_next(struct walk *walk)
{
    if (walk->led) {
        walk->idle = true;
        return true;
    }
    walk->at = walk_open_place(walk, walk->at);
    if (walk->at == walk->count) {
        walk_finish(walk, "all places are done", true);
        return false;
    }
    walk_turn(walk);
    walk_tell_place(walk);
    return true;
}

static bool go_back(struct walk *walk, struct failure *failure)
{
    if (walk->led)
        return failure_set(failure, FAILURE_SETTINGS, NULL, "walk.go",
                           "in this walk the client says whose turn it is");
    reopen(walk, walk->at > 0 ? walk->at - 1 : walk->count - 1);
    return true;
}

static bool go_again(struct walk *walk, struct failure *failure)
{
    if (walk->last == walk->count)
        return failure_set(failure, FAILURE_SETTINGS, NULL, "a reading first",
                           "no place has been read yet");
    walk->idle = false;
    reopen(walk, walk->last);
    if (walk->touch.state == TOUCH_HELD)
        touch_key(&walk->touch);
    return true;
}

bool walk_key(struct walks *walks, const struct session *session, uint64_t number,
              enum walk_key key, struct failure *failure)
{
    struct walk *walk = find(walks, session, number);
    if (walk == NULL)
        return no_walk(failure);
    if (key == WALK_KEY_BACK)
        return go_back(walk, failure);
    if (key == WALK_KEY_AGAIN)
        return go_again(walk, failure);
    if (walk->idle)
        return failure_set(failure, FAILURE_SETTINGS, NULL, "walk.go first", "it is nobody's turn");
    if (key == WALK_KEY_ON)
        touch_key(&walk->touch);
    else
        skip(walk);
    return true;
}

bool walk_go(struct walks *walks, const struct session *session, uint64_t number, const char *point,
             struct failure *failure)
{
    struct walk *walk = find(walks, session, number);
    if (walk == NULL)
        return no_walk(failure);
    size_t place = 0;
    while (place < walk->count && strcmp(walk->places[place].point, point) != 0)
        place++;
    if (place == walk->count)
        return failure_set(failure, FAILURE_SETTINGS, walk->sheet, "a point of that sheet",
                           "the sheet that is walked has no point %s", point);
    walk->idle = false;
    reopen(walk, place);
    return true;
}

bool walk_note(struct walks *walks, const struct session *session, uint64_t number,
               const char *note, struct failure *failure)
{
    struct walk *walk = find(walks, session, number);
    if (walk == NULL)
        return no_walk(failure);
    bool held = walk->touch.state == TOUCH_HELD && walk->last < walk->count;
    walk_record_note(walk, held ? walk->last : walk->at, note);
    return true;
}

bool walk_leave(struct walks *walks, const struct session *session, uint64_t number, bool for_good)
{
    struct walk *walk = find(walks, session, number);
    if (walk != NULL)
        walk_finish(walk, for_good ? "ended by its client" : "left by its client", for_good);
    return walk != NULL;
}

void walks_dismiss(struct walks *walks, const struct session *session)
{
    struct walk *walk = LIST_FIRST(&walks->list);
    while (walk != NULL) {
        struct walk *next = LIST_NEXT(walk, entry); /* one that is led goes */
        if (walk->session == session)
            leave(walk, "left by its client", false);
        walk = next;
    }
}

void walks_stop(struct walks *walks)
{
    struct walk *walk = LIST_FIRST(&walks->list);
    while (walk != NULL) {
        struct walk *next = LIST_NEXT(walk, entry); /* one that is led goes */
        if (walk->session != NULL)
            walk_finish(walk, "the daemon is stopping", false);
        walk = next;
    }
}
