/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Going on after a crash, a power cut or an upgrade: what the store has of a
 * run that began and did not end is judged again in its order, so that
 * nothing has to be kept beside the readings.
 */
#include "burnin_priv.h"

#include "daemon/basics/body.h"
#include "daemon/basics/log.h"
#include "daemon/store/store_read.h"

#include <jansson.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

/* One run while it is being read back. */
struct recall {
    struct burnin_run *run;
    sqlite3 *sqlite;
    char boot[BURNIN_BOOT]; /* of the last time it began or went on */
    bool changed;           /* the plan has other times than it had */
    bool *tripped;          /* one a point: its trip is on record */
};

/* Where plan time stood when the run began or went on last. */
static void recall_origin(struct recall *recall, const json_t *body)
{
    const struct burnin_time time = { .origin = { body_integer(body, "origin_wall_ns"),
                                                  body_integer(body, "origin_steady_ns") },
                                      .offset = body_integer(body, "offset_ns") };
    const char *boot = json_string_value(json_object_get(body, "boot"));
    burnin_run_recall_time(recall->run, &time, body_integer(body, "first_ns"));
    const struct burnin_schedule *schedule = &recall->run->schedule;
    recall->changed = schedule->every != body_integer(body, "every_ns") ||
                      schedule->warm_until != body_integer(body, "warm_until_ns") ||
                      burnin_end(schedule) != body_integer(body, "end_ns");
    snprintf(recall->boot, sizeof recall->boot, "%s", boot != NULL ? boot : "");
}

/* What is on record of the wall clock is not told again, and counts at the next boot. */
static void recall_jump(struct burnin_run *run, const json_t *body)
{
    run->jumps++;
    run->time.offset += llround(json_number_value(json_object_get(body, "by_s")) * 1e9);
}

static void recall_event(struct recall *recall, const char *kind, const json_t *body)
{
    if (strcmp(kind, "run began") == 0 || strcmp(kind, "gap") == 0)
        recall_origin(recall, body);
    if (strcmp(kind, "gap") == 0)
        recall->run->gaps++;
    if (strcmp(kind, "clock jumped") == 0)
        recall_jump(recall->run, body);
    if (strcmp(kind, "late round") == 0)
        recall->run->late++;
    const char *point = json_string_value(json_object_get(body, "point"));
    size_t slot = point != NULL ? burnin_run_slot(recall->run, point) : 0;
    if (strcmp(kind, "trip") == 0 && point != NULL && slot < recall->run->plan->point_count)
        recall->tripped[slot] = true;
}

/* The events before the readings: they say when the run began and which trips were announced. */
static bool recall_events(struct recall *recall)
{
    sqlite3_stmt *at =
        store_read_about(recall->sqlite,
                         "SELECT kind, body FROM events WHERE subject = ?1 AND kind IN"
                         " ('run began', 'gap', 'trip', 'clock jumped', 'late round')"
                         " ORDER BY id",
                         recall->run->name, NULL);
    while (sqlite3_step(at) == SQLITE_ROW) {
        json_t *body = json_loads(store_read_text(at, 1), 0, NULL);
        if (body != NULL)
            recall_event(recall, store_read_text(at, 0), body);
        json_decref(body);
    }
    return sqlite3_finalize(at) == SQLITE_OK && recall->run->schedule.every > 0;
}

/* What limits of a comparison hold for stands only in the text of the reading. */
static double judged_in(const char *text, double value)
{
    json_t *body = json_loads(text, 0, NULL);
    const json_t *judged = json_object_get(json_object_get(body, "comparison"), "value");
    double number = json_is_number(judged) ? json_number_value(judged) : value;
    json_decref(body);
    return number;
}

static void recall_reading(struct recall *recall, sqlite3_stmt *at)
{
    struct burnin_run *run = recall->run;
    size_t slot = burnin_run_slot(run, store_read_text(at, 0));
    struct burnin_outcome outcome = { .round = sqlite3_column_int64(at, 1) };
    if (slot == run->plan->point_count || outcome.round < 1)
        return;
    if (sqlite3_column_type(at, 4) != SQLITE_NULL) {
        outcome.failure = failure_from_reason(store_read_text(at, 4));
    } else {
        const struct limits *limits = &burnin_run_point(run, slot, outcome.round)->limits;
        outcome.value = sqlite3_column_double(at, 2);
        verdict_from_name(store_read_text(at, 3), &outcome.verdict);
        outcome.judged = limits->judged == JUDGED_VALUE
                             ? outcome.value
                             : judged_in(store_read_text(at, 5), outcome.value);
    }
    burnin_run_recall(run, slot, &outcome, recall->tripped[slot]);
}

/* Measurements without a row of readings, and rounds that were not held. */
static void recall_absence(struct recall *recall, sqlite3_stmt *at)
{
    struct burnin_run *run = recall->run;
    json_t *body = json_loads(store_read_text(at, 5), 0, NULL);
    if (strcmp(store_read_text(at, 4), "rounds missed") == 0) {
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

/*
 * Readings, and what stands in the place of readings, in the order they were
 * written: the rows as they lie in the table since the run began, because an
 * index of runs would have them sorted first.
 */
static bool recall_rounds(struct recall *recall)
{
    sqlite3_stmt *at = store_read_about(
        recall->sqlite,
        "SELECT point, round, value, verdict, reason, body, id, 0 AS event"
        " FROM readings NOT INDEXED WHERE run = ?1 AND id > (SELECT min(id) FROM events"
        " WHERE subject = ?1 AND kind = 'run began') UNION ALL"
        " SELECT '', 0, NULL, NULL, kind, body, id, 1 FROM events WHERE subject = ?1"
        " AND kind IN ('not measured', 'rounds missed') ORDER BY id",
        recall->run->name, NULL);
    while (sqlite3_step(at) == SQLITE_ROW) {
        if (sqlite3_column_int(at, 7) != 0)
            recall_absence(recall, at);
        else
            recall_reading(recall, at);
    }
    return sqlite3_finalize(at) == SQLITE_OK;
}

static void restore_run(struct burnin *burnin, sqlite3 *sqlite, const struct bench_burnin *plan,
                        const char *name)
{
    struct failure failure = { 0 };
    struct burnin_entry *entry = burnin_entry_new(burnin, plan, name, &failure);
    struct recall recall = { .sqlite = sqlite };
    recall.run = entry != NULL ? entry->run : NULL;
    recall.tripped = calloc(plan->point_count, sizeof *recall.tripped);
    bool read = entry != NULL && recall.tripped != NULL && recall_events(&recall) &&
                (recall.changed || recall_rounds(&recall));
    free(recall.tripped);
    if (read && recall.changed) {
        burnin_run_end(entry->run, "the plan has changed in the settings");
        return;
    }
    if (read) {
        bool same_boot = recall.boot[0] != '\0' && strcmp(recall.boot, burnin->boot) == 0;
        burnin_run_resume(entry->run, same_boot, burnin->boot);
        return;
    }
    log_line(LOG_PRIORITY_ERROR, "burn-in %s: it cannot be read back and does not go on", name);
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
    log_line(LOG_PRIORITY_ERROR, "burn-in %s: ended, its plan is not in the settings any more",
             name);
    text_free(&body);
}

static void restore_found(struct burnin *burnin, sqlite3 *sqlite, sqlite3_stmt *at)
{
    json_t *body = json_loads(store_read_text(at, 1), 0, NULL);
    const char *name = json_string_value(json_object_get(body, "plan"));
    const struct bench_burnin *plan = name != NULL ? bench_burnin(burnin->loop->bench, name) : NULL;
    if (plan != NULL)
        restore_run(burnin, sqlite, plan, store_read_text(at, 0));
    else
        end_lost(burnin, store_read_text(at, 0), name != NULL ? name : "");
    json_decref(body);
}

void burnin_restore(struct burnin *burnin)
{
    struct loop *loop = burnin->loop;
    struct failure failure = { 0 };
    char text[600];
    if (loop->store == NULL)
        return;
    sqlite3 *sqlite = store_read_open(loop->bench->store.path, &failure);
    sqlite3_stmt *at = NULL;
    if (sqlite != NULL)
        sqlite3_prepare_v2(sqlite,
                           "SELECT subject, body FROM events AS began WHERE kind = 'run began'"
                           " AND NOT EXISTS (SELECT 1 FROM events WHERE kind = 'run ended'"
                           " AND subject = began.subject AND id > began.id) ORDER BY id",
                           -1, &at, NULL);
    while (at != NULL && sqlite3_step(at) == SQLITE_ROW)
        restore_found(burnin, sqlite, at);
    if (at == NULL && (sqlite == NULL || !store_read_fail(sqlite, &failure)))
        log_line(LOG_PRIORITY_WARNING, "burn-ins cannot be looked for: %s",
                 failure_text(&failure, text, sizeof text));
    sqlite3_finalize(at);
    sqlite3_close(sqlite);
}
