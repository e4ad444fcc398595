/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Walks on record, and those that were left read back from it. */
#include "daemon/basics/body.h"
#include "daemon/basics/log.h"
#include "daemon/store/store_look.h"
#include "walk_priv.h"

#include <jansson.h>
#include <math.h>
#include <string.h>

bool walk_same_unit(const struct walk *walk, const char *job)
{
    static const char *const members[] = { "name", "serial", "stage" };
    json_t *own = walk->job != NULL ? json_loads(walk->job, 0, NULL) : NULL;
    json_t *other = json_loads(job, 0, NULL);
    bool same = own != NULL && other != NULL;
    for (size_t i = 0; same && i < sizeof members / sizeof *members; i++)
        same = strcmp(body_text(own, members[i]), body_text(other, members[i])) == 0;
    json_decref(own);
    json_decref(other);
    return same;
}

/* Puts an event on record; `body` is open and ends here. */
static void record(struct walk *walk, enum event_kind kind, struct text *body)
{
    text_close(body, '}');
    struct happening event = { .kind = kind, .subject = walk->name, .plan = "", .body = body };
    publish_event(&walk->walks->loop->publish, &event);
    text_free(body);
}

static struct text open_body(const struct walk *walk)
{
    struct text body = { 0 };
    text_open(&body, '{');
    text_member_string(&body, "sheet", walk->sheet);
    text_member_string(&body, "by", walk->by);
    if (walk->job != NULL) {
        text_key(&body, "job");
        text_json(&body, walk->job, strlen(walk->job));
    }
    return body;
}

void walk_record_began(struct walk *walk)
{
    struct text body = open_body(walk);
    text_member_open(&body, "points", '[');
    for (size_t i = 0; i < walk->count; i++)
        text_string(&body, walk->places[i].point);
    text_close(&body, ']');
    record(walk, walk->led ? EVENT_DIAGNOSIS_BEGAN : EVENT_WALK_BEGAN, &body);
}

void walk_record_place(struct walk *walk, size_t place)
{
    const struct place_record *at = &walk->places[place];
    struct text body = open_body(walk);
    text_member_string(&body, "point", at->point);
    text_member_string(&body, "state", place_state_name(at->state));
    if (at->state == PLACE_READ) {
        text_member_number(&body, "value", at->value);
        text_member_string(&body, "verdict", verdict_name(at->verdict));
    }
    record(walk, EVENT_WALK_PLACE, &body);
}

void walk_record_note(struct walk *walk, size_t place, const char *note)
{
    struct text body = open_body(walk);
    text_member_string(&body, "point", walk->places[place].point);
    text_member_string(&body, "note", note);
    record(walk, EVENT_WALK_NOTE, &body);
}

void walk_record_ended(struct walk *walk, const char *why)
{
    struct text body = open_body(walk);
    text_member_string(&body, "why", why);
    record(walk, EVENT_WALK_ENDED, &body);
}

static void recall_place(struct walk *walk, const json_t *body)
{
    const char *point = body_text(body, "point"), *state = body_text(body, "state");
    for (size_t i = 0; i < walk->count; i++) {
        struct place_record *place = &walk->places[i];
        if (strcmp(place->point, point) != 0)
            continue;
        for (enum place_state each = PLACE_OPEN; each <= PLACE_SKIPPED; each++)
            if (strcmp(place_state_name(each), state) == 0)
                place->state = each;
        place->value = body_number(body, "value");
        verdict_from_name(body_text(body, "verdict"), &place->verdict);
        walk->at = i;
    }
}

/* Whether a walk ended; its places are taken in on the way. */
static bool recall(struct walk *walk, const struct store_look *look, struct failure *failure)
{
    const struct event_filter filter = { .kinds = 1u << EVENT_WALK_PLACE | 1u << EVENT_WALK_ENDED,
                                         .subject = walk->name };
    struct store_events events = store_events_begin(look, &filter);
    struct store_event event;
    bool ended = false;
    while (store_events_next(&events, &event)) {
        json_t *body = json_loads(event.body, 0, NULL);
        ended = ended || event_kind_of(event.kind) == EVENT_WALK_ENDED;
        recall_place(walk, body);
        json_decref(body);
    }
    return !store_events_end(&events, failure) || ended;
}

/* Whether the walk was of the places that the sheet has now. */
static bool same_places(const struct walk *walk, const json_t *body)
{
    const json_t *points = json_object_get(body, "points");
    if (json_array_size(points) != walk->count)
        return false;
    for (size_t i = 0; i < walk->count; i++) {
        const char *point = json_string_value(json_array_get(points, i));
        if (point == NULL || strcmp(walk->places[i].point, point) != 0)
            return false;
    }
    return true;
}

/* Who began a walk, and for which job. */
static bool recall_job(struct walk *walk, const json_t *body)
{
    const json_t *job = json_object_get(body, "job");
    snprintf(walk->by, sizeof walk->by, "%s", body_text(body, "by"));
    if (job != NULL)
        walk->job = json_dumps(job, JSON_COMPACT | JSON_SORT_KEYS);
    return job == NULL || walk->job != NULL;
}

/* The newest walk of a sheet, if it was left. */
static void restore_sheet(struct walks *walks, const struct store_look *look,
                          const struct bench_sheet *sheet, struct failure *failure)
{
    const struct event_filter filter = { .kinds = 1u << EVENT_WALK_BEGAN,
                                         .member = "$.sheet",
                                         .value = sheet->name,
                                         .newest_first = true,
                                         .limit = 1 };
    struct store_events events = store_events_begin(look, &filter);
    struct store_event event;
    struct walk *walk = NULL;
    bool whole = false;
    if (store_events_next(&events, &event)) {
        json_t *body = json_loads(event.body, 0, NULL);
        walk = walk_new(walks, sheet, event.subject);
        whole = walk != NULL && same_places(walk, body) && recall_job(walk, body);
        json_decref(body);
    }
    bool read = store_events_end(&events, failure);
    if (walk != NULL && (!read || !whole || recall(walk, look, failure)))
        walk_free(walk);
}

void walks_restore(struct walks *walks)
{
    struct loop *loop = walks->loop;
    struct failure failure = { 0 };
    struct store_look look;
    char text[600];
    if (loop->store == NULL || loop->bench->sheet_count == 0)
        return;
    if (store_look_open(&look, loop->bench->store.path, &failure)) {
        for (size_t i = 0; i < loop->bench->sheet_count; i++)
            restore_sheet(walks, &look, &loop->bench->sheets[i], &failure);
        store_look_close(&look);
    }
    if (failure.code != FAILURE_NONE)
        log_line(LOG_PRIORITY_WARNING, "cannot look for walks that were left: %s",
                 failure_text(&failure, text, sizeof text));
}
