/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A study of one point of a run, from its readings and what stands in the place of readings. */
#include "daemon/basics/body.h"
#include "point_study.h"
#include "run_list.h"

#include <stdlib.h>
#include <string.h>

/* Whether rows from between the beginning and the end of a run were removed by policy. */
static bool was_pruned(const struct store_look *look, const char *run)
{
    const struct event_filter filter = { .kinds = 1u << EVENT_RUN_BEGAN | 1u << EVENT_RUN_ENDED,
                                         .subject = run };
    struct store_events events = store_events_begin(look, &filter);
    struct store_event event;
    struct failure ignored = { 0 };
    int64_t first = 0, last = INT64_MAX;
    while (store_events_next(&events, &event))
        if (event_kind_of(event.kind) == EVENT_RUN_ENDED)
            last = event.id;
        else if (first == 0)
            first = event.id;
    store_events_end(&events, &ignored);
    return store_was_pruned(look, first, last);
}

/* Measurements without a row of readings, in their order. */
struct misses {
    struct store_events events;
    bool there; /* what follows is of the one that is next */
    int64_t id;
    int64_t round;
    char reason[64];
};

static void misses_step(struct misses *misses)
{
    struct store_event event;
    misses->there = store_events_next(&misses->events, &event);
    if (!misses->there)
        return;
    json_t *body = json_loads(event.body, 0, NULL);
    misses->id = event.id;
    misses->round = body_integer(body, "round");
    snprintf(misses->reason, sizeof misses->reason, "%s", body_text(body, "reason"));
    json_decref(body);
}

static struct misses misses_begin(const struct store_look *look, const char *run, const char *point)
{
    const struct event_filter filter = {
        .kinds = 1u << EVENT_NOT_MEASURED, .subject = run, .member = "$.point", .value = point
    };
    struct misses misses = { .events = store_events_begin(look, &filter) };
    misses_step(&misses);
    return misses;
}

/* The latest round that anything is known of. */
static int64_t last_round(const struct store_look *look, const char *run, const char *point)
{
    int64_t round = store_last_round(look, run, point);
    struct misses misses = misses_begin(look, run, point);
    struct failure ignored = { 0 };
    for (; misses.there; misses_step(&misses))
        round = misses.round > round ? misses.round : round;
    store_events_end(&misses.events, &ignored);
    return round;
}

/* Takes in those that come before an id. */
static void misses_until(struct misses *misses, int64_t id, struct point_study *study)
{
    for (; misses->there && misses->id < id; misses_step(misses))
        if (misses->reason[0] != '\0' && misses->round > 0)
            point_study_miss(study, misses->round, misses->reason);
}

static bool read_rows(const struct store_look *look, struct point_study *study,
                      struct failure *failure)
{
    const char *run = study->record->run;
    struct misses misses = misses_begin(look, run, study->point);
    struct store_rows rows = store_rows_of_point(look, run, study->point);
    struct store_row row;
    bool taken = true, intact;
    while (taken && store_rows_next_checked(&rows, &row, &intact)) {
        misses_until(&misses, row.id, study);
        taken = point_study_take(study, &row, intact);
    }
    misses_until(&misses, INT64_MAX, study);
    bool read = store_rows_end(&rows, failure);
    read = store_events_end(&misses.events, failure) && read;
    if (!taken)
        return failure_no_memory(failure, "a study");
    return read;
}

static bool study_point(const struct store_look *look, struct run_query *asked,
                        const struct run_record *record, struct point_study *study)
{
    struct failure *failure = &asked->query.failure;
    int64_t rounds = last_round(look, record->run, asked->point);
    if (!point_study_begin(study, record, asked->point, rounds, asked->buckets, failure))
        return false;
    study->removed = was_pruned(look, record->run);
    return read_rows(look, study, failure) &&
           point_study_encode(study, &asked->query.text, failure);
}

static bool read_study(struct store_query *query, const struct store_look *look, bool *ended)
{
    struct run_query *asked = (struct run_query *)query;
    struct run_record record = { 0 };
    struct point_study *study = calloc(1, sizeof *study);
    (void)ended;
    bool read = study != NULL ? run_record_read(look, asked->run, &record, &query->failure) &&
                                    study_point(look, asked, &record, study)
                              : failure_no_memory(&query->failure, "the history");
    if (study != NULL)
        point_study_end(study);
    free(study);
    run_record_end(&record);
    return read;
}

struct run_query *run_study_new(void)
{
    return store_query_new(sizeof(struct run_query), read_study);
}
