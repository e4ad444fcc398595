/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Going on after a crash, a power cut or an upgrade: what the store has of a
 * run that began and did not end is judged again in its order, so that
 * nothing has to be kept beside the readings.
 */
#include "burnin_priv.h"

#include "daemon/basics/body.h"
#include "daemon/basics/log.h"
#include "daemon/store/store_look.h"
#include "point_study.h"

#include <jansson.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* One run while it is being read back. */
struct recall {
    struct burnin_run *run;
    const struct store_look *look;
    int64_t began;          /* id of the event that it began with */
    char boot[BURNIN_BOOT]; /* of the last time it began or went on */
    bool changed;           /* the plan has other times than it had */
    bool *tripped;          /* one a point: its trip is on record */
};

/* Where plan time stood when the run began or went on last. */
static void recall_origin(struct recall *recall, const json_t *body)
{
    json_t *job = json_object_get(body, "job");
    if (json_is_object(job) && recall->run->job == NULL)
        recall->run->job = json_incref(job);
    const struct burnin_time time = { .origin = { body_integer(body, "origin_wall_ns") },
                                      .steady = { body_integer(body, "origin_steady_ns") },
                                      .offset = { body_integer(body, "offset_ns") } };
    const struct plan_time first = { body_integer(body, "first_ns") };
    const char *boot = json_string_value(json_object_get(body, "boot"));
    burnin_run_recall_time(recall->run, &time, first);
    const struct burnin_schedule *schedule = &recall->run->schedule;
    recall->changed = schedule->every.ns != body_integer(body, "every_ns") ||
                      schedule->warm_until.ns != body_integer(body, "warm_until_ns") ||
                      burnin_end(schedule).ns != body_integer(body, "end_ns");
    snprintf(recall->boot, sizeof recall->boot, "%s", boot != NULL ? boot : "");
}

/* What is on record of the wall clock is not told again, and counts at the next boot. */
static void recall_jump(struct burnin_run *run, const json_t *body)
{
    run->jumps++;
    double by_s = json_number_value(json_object_get(body, "by_s"));
    run->time.offset = duration_plus(run->time.offset, duration_of_seconds(by_s));
}

static void recall_event(struct recall *recall, enum event_kind kind, const json_t *body)
{
    if (kind == EVENT_RUN_BEGAN || kind == EVENT_GAP)
        recall_origin(recall, body);
    if (kind == EVENT_GAP)
        recall->run->gaps++;
    if (kind == EVENT_PHASE_COMMAND || kind == EVENT_RUN_CONTINUED)
        burnin_phases_recall(recall->run, body, kind == EVENT_RUN_CONTINUED);
    if (kind == EVENT_CLOCK_JUMPED)
        recall_jump(recall->run, body);
    if (kind == EVENT_LATE_ROUND)
        recall->run->late++;
    const char *point = json_string_value(json_object_get(body, "point"));
    size_t slot = point != NULL ? burnin_run_slot(recall->run, point) : 0;
    if (kind == EVENT_TRIP && point != NULL && slot < recall->run->plan->point_count)
        recall->tripped[slot] = true;
}

/* The events before the readings: they say when the run began and which trips were announced. */
static bool recall_events(struct recall *recall, struct failure *failure)
{
    const struct event_filter filter = { .kinds = 1u << EVENT_RUN_BEGAN | 1u << EVENT_GAP |
                                                  1u << EVENT_TRIP | 1u << EVENT_CLOCK_JUMPED |
                                                  1u << EVENT_LATE_ROUND |
                                                  1u << EVENT_PHASE_COMMAND |
                                                  1u << EVENT_RUN_CONTINUED,
                                         .subject = recall->run->name };
    struct store_events events = store_events_begin(recall->look, &filter);
    struct store_event event;
    while (store_events_next(&events, &event)) {
        json_t *body = json_loads(event.body, 0, NULL);
        if (recall->began == 0)
            recall->began = event.id;
        if (body != NULL)
            recall_event(recall, event_kind_of(event.kind), body);
        json_decref(body);
    }
    return store_events_end(&events, failure) && recall->run->schedule.every.ns > 0;
}

/* What limits of a comparison hold for, and the display's step, stand only in the text of the reading. */
static void recall_text(const char *text, struct burnin_outcome *outcome)
{
    json_t *body = json_loads(text, 0, NULL);
    const json_t *judged = json_object_get(json_object_get(body, "comparison"), "value");
    if (json_is_number(judged))
        outcome->judged = json_number_value(judged);
    outcome->step = burnin_step_in(body);
    json_decref(body);
}

static void recall_reading(struct recall *recall, const struct store_row *row)
{
    struct burnin_run *run = recall->run;
    size_t slot = burnin_run_slot(run, row->point);
    struct burnin_outcome outcome = { .round = row->round };
    if (slot == run->plan->point_count || outcome.round < 1)
        return;
    if (row->reason != NULL) {
        outcome.failure = failure_from_reason(row->reason);
    } else {
        const struct limits *limits = &burnin_run_point(run, slot, outcome.round)->limits;
        outcome.value = row->value;
        verdict_from_name(row->verdict != NULL ? row->verdict : "", &outcome.verdict);
        outcome.judged = outcome.value;
        if (limits->judged != JUDGED_VALUE || run->plan->drifts[slot].chart > 0)
            recall_text(row->body, &outcome);
    }
    burnin_run_recall(run, slot, &outcome, recall->tripped[slot]);
}

/* Measurements without a row of readings, and rounds that were not held. */
static void recall_absence(struct recall *recall, const struct store_event *event)
{
    struct burnin_run *run = recall->run;
    json_t *body = json_loads(event->body, 0, NULL);
    if (event_kind_of(event->kind) == EVENT_ROUNDS_MISSED) {
        burnin_run_recall_missed(run, body_integer(body, "last"));
        json_decref(body);
        return;
    }
    const char *point = json_string_value(json_object_get(body, "point"));
    const char *reason = json_string_value(json_object_get(body, "reason"));
    size_t slot = point != NULL ? burnin_run_slot(run, point) : run->plan->point_count;
    if (slot < run->plan->point_count && reason != NULL && body_integer(body, "round") > 0) {
        const struct burnin_outcome outcome = { .round = body_integer(body, "round"),
                                                .failure = failure_from_reason(reason) };
        burnin_run_recall(run, slot, &outcome, recall->tripped[slot]);
    }
    json_decref(body);
}

/* Readings, and what stands in the place of readings, in the order they were written. */
static bool recall_rounds(struct recall *recall, struct failure *failure)
{
    const struct event_filter filter = { .kinds =
                                             1u << EVENT_NOT_MEASURED | 1u << EVENT_ROUNDS_MISSED,
                                         .subject = recall->run->name };
    struct store_rows rows = store_rows_of_run(recall->look, recall->run->name, recall->began);
    struct store_events events = store_events_begin(recall->look, &filter);
    struct store_row row;
    struct store_event event;
    bool has_row = store_rows_next(&rows, &row);
    bool has_event = store_events_next(&events, &event);
    while (has_row || has_event) {
        if (has_row && (!has_event || row.id < event.id)) {
            recall_reading(recall, &row);
            has_row = store_rows_next(&rows, &row);
        } else {
            recall_absence(recall, &event);
            has_event = store_events_next(&events, &event);
        }
    }
    bool read = store_rows_end(&rows, failure);
    return store_events_end(&events, failure) && read;
}

/* How a run came to its end, as it is on record. */
struct ended {
    char why[64];
    char phase[BENCH_NAME]; /* whose end command is still to be run; empty: none */
};

static void go_on(struct burnin *burnin, struct recall *recall, const struct ended *ended)
{
    struct burnin_run *run = recall->run;
    if (ended != NULL)
        burnin_run_recall_end(run, ended->why, ended->phase);
    else if (recall->changed)
        burnin_run_end(run, "the plan has changed in the settings", NULL);
    else
        burnin_run_resume(run, recall->boot[0] != '\0' && strcmp(recall->boot, burnin->boot) == 0,
                          burnin->boot);
}

/* Reads the record of a run and goes on with it, or with what is left to do after its end. */
static void restore_run(struct burnin *burnin, const struct store_look *look,
                        const struct bench_burnin *plan, const char *name,
                        const struct ended *ended)
{
    struct failure failure = { 0 };
    struct burnin_entry *entry = burnin_entry_new(burnin, plan, name, &failure);
    struct recall recall = { .look = look };
    recall.run = entry != NULL ? entry->run : NULL;
    recall.tripped = calloc(plan->point_count, sizeof *recall.tripped);
    bool read = entry != NULL && recall.tripped != NULL && recall_events(&recall, &failure) &&
                (recall.changed || recall_rounds(&recall, &failure));
    free(recall.tripped);
    if (read) {
        go_on(burnin, &recall, ended);
        return;
    }
    log_line(LOG_PRIORITY_ERROR, "burn-in %s: its record cannot be read; it is not resumed", name);
    if (entry != NULL)
        burnin_entry_free(entry);
}

/* Ends a run on record whose plan is not in the settings any more. */
static void end_lost(struct burnin *burnin, const char *name, const char *plan)
{
    struct text body = { 0 };
    text_open(&body, '{');
    text_member_string(&body, "run", name);
    text_member_string(&body, "plan", plan);
    text_member_string(&body, "why", "the plan is not in the settings any more");
    text_close(&body, '}');
    struct happening event = {
        .kind = EVENT_RUN_ENDED, .subject = name, .plan = plan, .body = &body
    };
    burnin_record(burnin, &event);
    log_line(LOG_PRIORITY_ERROR, "burn-in %s: ended: its plan is no longer in the settings", name);
    text_free(&body);
}

/* One event of a run behind its end: a command whose outcome is known is not left to do. */
static void note_end(struct ended *ended, enum event_kind kind, const char *text)
{
    json_t *body = json_loads(text, 0, NULL);
    const char *why = json_string_value(json_object_get(body, "why"));
    const char *phase = json_string_value(json_object_get(body, "ends_phase"));
    const char *when = json_string_value(json_object_get(body, "when"));
    const char *outcome = json_string_value(json_object_get(body, "outcome"));
    if (kind == EVENT_RUN_ENDED) {
        snprintf(ended->why, sizeof ended->why, "%s", why != NULL ? why : "ended");
        snprintf(ended->phase, sizeof ended->phase, "%s", phase != NULL ? phase : "");
    } else if (when != NULL && strcmp(when, "ends") == 0 && outcome != NULL &&
               strcmp(outcome, "begun") != 0) {
        ended->phase[0] = '\0';
    }
    json_decref(body);
}

/* Whether a run that began with an event has ended since, and what is left to do. */
static bool has_ended(const struct store_look *look, const struct store_event *began,
                      struct ended *ended)
{
    const struct event_filter filter = { .kinds = 1u << EVENT_RUN_ENDED | 1u << EVENT_PHASE_COMMAND,
                                         .subject = began->subject,
                                         .after = began->id };
    struct store_events events = store_events_begin(look, &filter);
    struct store_event event;
    struct failure ignored = { 0 };
    *ended = (struct ended) { 0 };
    while (store_events_next(&events, &event))
        note_end(ended, event_kind_of(event.kind), event.body);
    store_events_end(&events, &ignored);
    return ended->why[0] != '\0';
}

static void restore_found(struct burnin *burnin, const struct store_look *look,
                          const struct store_event *began)
{
    const struct bench_burnin *plan = bench_burnin(burnin->loop->bench, began->body);
    struct ended ended;
    bool over = has_ended(look, began, &ended);
    if (over && (plan == NULL || ended.phase[0] == '\0'))
        return;
    if (plan != NULL)
        restore_run(burnin, look, plan, began->subject, over ? &ended : NULL);
    else
        end_lost(burnin, began->subject, began->body);
}

void burnin_restore(struct burnin *burnin)
{
    const struct event_filter filter = { .kinds = 1u << EVENT_RUN_BEGAN, .pick = "$.plan" };
    struct loop *loop = burnin->loop;
    struct failure failure = { 0 };
    struct store_look look;
    char text[600];
    if (loop->store == NULL)
        return;
    if (store_look_open(&look, loop->bench->store.path, &failure)) {
        struct store_events events = store_events_begin(&look, &filter);
        struct store_event event;
        while (store_events_next(&events, &event))
            restore_found(burnin, &look, &event);
        store_events_end(&events, &failure);
        store_look_close(&look);
    }
    if (failure.code != FAILURE_NONE)
        log_line(LOG_PRIORITY_WARNING, "cannot look for unfinished burn-ins: %s",
                 failure_text(&failure, text, sizeof text));
}
