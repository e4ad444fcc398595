/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "run_record.h"

#include "daemon/basics/body.h"
#include "daemon/basics/json_text.h"

#include <stdio.h>
#include <string.h>

void run_record_encode(struct text *text, const struct bench *bench,
                       const struct bench_burnin *plan, const struct burnin_schedule *schedule)
{
    char card[BENCH_CARD];
    text_member_integer(text, "trip_after", plan->rules.trip_after);
    text_member_integer(text, "lost_after", plan->rules.lost_after);
    text_member_open(text, "phases", '[');
    for (size_t i = 0; i < plan->phase_count; i++) {
        text_open(text, '{');
        text_member_string(text, "phase", plan->phases[i].name);
        text_member_integer(text, "end_ns", schedule->phase_ends[i].ns);
        text_close(text, '}');
    }
    text_close(text, ']');
    text_member_open(text, "points", '[');
    for (size_t i = 0; i < plan->point_count; i++) {
        const struct bench_point *point = plan->phases[0].points[i];
        text_open(text, '{');
        text_member_string(text, "point", point->name);
        if (point->unit_number != 0)
            text_member_integer(text, "unit_number", point->unit_number);
        if (bench_card(bench, point, card))
            text_member_string(text, "card", card);
        text_member_number(text, "drift", plan->drifts[i].bound);
        text_member_number(text, "drift_relative", plan->drifts[i].relative);
        text_member_number(text, "drift_reference", plan->drifts[i].reference);
        text_member_integer(text, "drift_window", plan->drifts[i].window);
        if (plan->drifts[i].chart > 0)
            text_member_integer(text, "chart", plan->drifts[i].chart);
        text_close(text, '}');
    }
    text_close(text, ']');
}

/* The schedule as it was; false when the event does not say it. */
static bool read_schedule(struct run_record *record)
{
    struct burnin_schedule *schedule = &record->schedule;
    const json_t *phases = json_object_get(record->body, "phases");
    schedule->first.ns = body_integer(record->body, "first_ns");
    schedule->every.ns = body_integer(record->body, "every_ns");
    schedule->warm_until.ns = body_integer(record->body, "warm_until_ns");
    schedule->phase_count = json_array_size(phases);
    record->rules.trip_after = (int)body_integer(record->body, "trip_after");
    record->rules.lost_after = (int)body_integer(record->body, "lost_after");
    if (schedule->every.ns <= 0 || schedule->phase_count < 1 ||
        schedule->phase_count > BURNIN_PHASES)
        return false;
    for (size_t i = 0; i < schedule->phase_count; i++)
        schedule->phase_ends[i].ns = body_integer(json_array_get(phases, i), "end_ns");
    return true;
}

static bool take(struct run_record *record, const char *run, const char *body)
{
    memset(record, 0, sizeof *record);
    record->body = body != NULL ? json_loads(body, 0, NULL) : NULL;
    snprintf(record->run, sizeof record->run, "%s", run != NULL ? run : "");
    snprintf(record->plan, sizeof record->plan, "%s", body_text(record->body, "plan"));
    if (record->body != NULL && read_schedule(record))
        return true;
    run_record_end(record);
    return false;
}

/* Reads the newest event that begins a run and passes the filter. Whether there is one. */
static bool read_newest(const struct store_look *look, struct event_filter filter,
                        struct run_record *record, bool *there, struct failure *failure)
{
    struct store_event event;
    filter.kinds = 1u << EVENT_RUN_BEGAN;
    filter.newest_first = true;
    filter.limit = 1;
    struct store_events events = store_events_begin(look, &filter);
    *there = store_events_next(&events, &event);
    bool read = *there && take(record, event.subject, event.body);
    if (*there && !read)
        failure_set(failure, FAILURE_SYSTEM, event.subject, "the event as it was written",
                    "what is on record of the run cannot be read");
    return store_events_end(&events, failure) && read;
}

bool run_record_read(const struct store_look *look, const char *name, struct run_record *record,
                     struct failure *failure)
{
    const struct event_filter run = { .subject = name };
    const struct event_filter plan = { .member = "$.plan", .value = name };
    bool there;
    bool read = read_newest(look, run, record, &there, failure);
    if (!there && failure->code == FAILURE_NONE)
        read = read_newest(look, plan, record, &there, failure);
    if (!there && failure->code == FAILURE_NONE)
        failure_set(failure, FAILURE_SETTINGS, NULL, "a run or plan that burnin.runs names",
                    "there is no run %.120s on record", name);
    return read;
}

void run_record_end(struct run_record *record)
{
    json_decref(record->body);
    record->body = NULL;
}

const char *run_record_phase(const struct run_record *record, size_t phase)
{
    return body_text(json_array_get(json_object_get(record->body, "phases"), phase), "phase");
}

bool run_record_point(const struct run_record *record, const char *point, int *unit_number,
                      struct bench_drift *drift)
{
    size_t index;
    const json_t *each;
    json_array_foreach(json_object_get(record->body, "points"), index, each)
    {
        if (strcmp(body_text(each, "point"), point) != 0)
            continue;
        *unit_number = (int)body_integer(each, "unit_number");
        *drift = (struct bench_drift) { .bound = body_number(each, "drift"),
                                        .relative = body_number(each, "drift_relative"),
                                        .reference = body_number(each, "drift_reference"),
                                        .window = (int)body_integer(each, "drift_window"),
                                        .chart = (int)body_integer(each, "chart") };
        return true;
    }
    return false;
}
