/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "run_list.h"

#include "run_record.h"

#include <string.h>

/* When a run ended and why, if it did. */
static void encode_end(struct text *text, const struct store_look *look, const char *run)
{
    const struct event_filter filter = {
        .kinds = 1u << EVENT_RUN_ENDED, .subject = run, .pick = "$.why", .limit = 1
    };
    struct store_events events = store_events_begin(look, &filter);
    struct store_event event = { .time = "", .body = "" };
    struct failure ignored = { 0 };
    store_events_next(&events, &event);
    text_member_string(text, "ended", event.time);
    text_member_string(text, "why", event.body);
    store_events_end(&events, &ignored);
}

static bool read_runs(struct store_query *query, const struct store_look *look, bool *ended)
{
    const struct event_filter filter = { .kinds = 1u << EVENT_RUN_BEGAN, .pick = "$.plan" };
    struct store_events events = store_events_begin(look, &filter);
    struct text *text = &query->text;
    struct store_event event;
    (void)ended;
    text_open(text, '{');
    text_member_open(text, "runs", '[');
    while (store_events_next(&events, &event)) {
        text_open(text, '{');
        text_member_string(text, "run", event.subject);
        text_member_string(text, "plan", event.body);
        text_member_string(text, "began", event.time);
        encode_end(text, look, event.subject);
        text_close(text, '}');
    }
    text_close(text, ']');
    text_close(text, '}');
    return store_events_end(&events, &query->failure);
}

/* An event: its place, its time, its kind, and what it says. */
static void encode_event(struct text *text, const struct store_event *event)
{
    text_open(text, '{');
    text_member_integer(text, "id", event->id);
    text_member_string(text, "time", event->time);
    text_member_string(text, "kind", event->kind);
    if (event->body[0] != '\0') {
        text_key(text, "body");
        text_json(text, event->body, strlen(event->body));
    }
    text_close(text, '}');
}

static bool encode_events(const struct store_look *look, const struct run_query *asked,
                          const char *run, struct text *text, struct failure *failure)
{
    const struct event_filter filter = { .subject = run,
                                         .after = asked->after,
                                         .limit = asked->limit + 1 };
    struct store_events events = store_events_begin(look, &filter);
    struct store_event event;
    size_t count = 0;
    bool more = false;
    text_open(text, '{');
    text_member_string(text, "run", run);
    text_member_open(text, "events", '[');
    while (!more && store_events_next(&events, &event)) {
        more = count++ == asked->limit || text->length > QUERY_BYTES;
        if (!more)
            encode_event(text, &event);
    }
    text_close(text, ']');
    text_member_bool(text, "more", more);
    text_close(text, '}');
    return store_events_end(&events, failure);
}

static bool read_events(struct store_query *query, const struct store_look *look, bool *ended)
{
    const struct run_query *asked = (const struct run_query *)query;
    struct run_record record = { 0 };
    (void)ended;
    bool read = run_record_read(look, asked->run, &record, &query->failure) &&
                encode_events(look, asked, record.run, &query->text, &query->failure);
    run_record_end(&record);
    return read;
}

struct store_query *run_list_new(void)
{
    return store_query_new(sizeof(struct store_query), read_runs);
}

struct run_query *run_events_new(void)
{
    return store_query_new(sizeof(struct run_query), read_events);
}
