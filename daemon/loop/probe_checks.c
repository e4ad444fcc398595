/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "probe_checks.h"

#include "daemon/basics/body.h"
#include "daemon/store/store_look.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/queue.h>

/* A probe at an input, by names: a reload may number them anew. */
struct probe_check {
    char probe[BENCH_NAME];
    char instrument[BENCH_NAME];
    int input;
    bool checked; /* its compensation, which `found` and `when` are of */
    struct compensation found;
    struct wall_time when;
    struct lead_zero zero;
    SLIST_ENTRY(probe_check) next;
};

struct probe_checks {
    SLIST_HEAD(, probe_check) all;
};

struct probe_checks *probe_checks_new(void)
{
    struct probe_checks *checks = calloc(1, sizeof *checks);
    if (checks != NULL)
        SLIST_INIT(&checks->all);
    return checks;
}

void probe_checks_free(struct probe_checks *checks)
{
    while (checks != NULL && !SLIST_EMPTY(&checks->all)) {
        struct probe_check *check = SLIST_FIRST(&checks->all);
        SLIST_REMOVE_HEAD(&checks->all, next);
        free(check);
    }
    free(checks);
}

static struct probe_check *find_names(const struct probe_checks *checks, const char *probe,
                                      const char *instrument, int input)
{
    struct probe_check *check;
    SLIST_FOREACH(check, &checks->all, next)
    if (strcmp(check->probe, probe) == 0 && strcmp(check->instrument, instrument) == 0 &&
        check->input == input)
        return check;
    return NULL;
}

static struct probe_check *find(const struct probe_checks *checks, const struct bench *bench,
                                const struct bench_point *point)
{
    return find_names(checks, bench->probes[point->probe].name,
                      bench->instruments[point->instrument].name, point->input);
}

/* What is kept of a probe at an input, from now on if not before; NULL when memory is short. */
static struct probe_check *keep(struct probe_checks *checks, const char *probe,
                                const char *instrument, int input)
{
    struct probe_check *check = find_names(checks, probe, instrument, input);
    if (check == NULL) {
        check = calloc(1, sizeof *check);
        if (check == NULL)
            return NULL;
        snprintf(check->probe, sizeof check->probe, "%s", probe);
        snprintf(check->instrument, sizeof check->instrument, "%s", instrument);
        check->input = input;
        SLIST_INSERT_HEAD(&checks->all, check, next);
    }
    return check;
}

static bool note(struct probe_check *check, const struct compensation *found, struct wall_time when)
{
    if (check == NULL)
        return false;
    check->checked = true;
    check->found = *found;
    check->when = when;
    return true;
}

bool probe_checks_note(struct probe_checks *checks, const struct bench *bench,
                       const struct bench_point *point, const struct compensation *found,
                       struct wall_time when)
{
    return note(keep(checks, bench->probes[point->probe].name,
                     bench->instruments[point->instrument].name, point->input),
                found, when);
}

bool probe_checks_note_zero(struct probe_checks *checks, const struct bench *bench,
                            const struct bench_point *point, const struct lead_zero *zero)
{
    struct probe_check *check = keep(checks, bench->probes[point->probe].name,
                                     bench->instruments[point->instrument].name, point->input);
    if (check != NULL)
        check->zero = *zero;
    return check != NULL;
}

struct lead_zero probe_checks_zero(const struct probe_checks *checks, const struct bench *bench,
                                   const struct bench_point *point)
{
    const struct probe_check *check = find(checks, bench, point);
    return check != NULL ? check->zero : (struct lead_zero) { 0 };
}

static void encode_place(struct text *text, const struct bench *bench,
                         const struct bench_point *point)
{
    text_member_string(text, "probe", bench->probes[point->probe].name);
    text_member_string(text, "instrument", bench->instruments[point->instrument].name);
    text_member_integer(text, "input", point->input);
}

void probe_checks_encode_zero(struct text *text, const struct bench *bench,
                              const struct bench_point *point, const struct lead_zero *zero)
{
    text_open(text, '{');
    encode_place(text, bench, point);
    text_member_number(text, "resistance", zero->resistance);
    text_member_number(text, "standard_uncertainty", zero->standard);
    text_close(text, '}');
}

void probe_checks_encode(struct text *text, const struct bench *bench,
                         const struct bench_point *point, const struct compensation *found)
{
    text_open(text, '{');
    encode_place(text, bench, point);
    text_member_string(text, "state", compensation_name(found->kind));
    text_member_number(text, "ratio", found->ratio);
    text_close(text, '}');
}

bool probe_checks_recall(struct probe_checks *checks, const char *body, struct wall_time when)
{
    json_t *record = json_loads(body, 0, NULL);
    const char *probe = body_text(record, "probe");
    const char *instrument = body_text(record, "instrument");
    const char *state = body_text(record, "state");
    struct compensation found = { .ratio = json_number_value(json_object_get(record, "ratio")),
                                  .tau = NAN };
    bool noted = true;
    if (probe[0] != '\0' && instrument[0] != '\0' && compensation_from_name(state, &found.kind))
        noted =
            note(keep(checks, probe, instrument, (int)body_integer(record, "input")), &found, when);
    json_decref(record);
    return noted;
}

bool probe_checks_recall_zero(struct probe_checks *checks, const char *body, struct wall_time when)
{
    json_t *record = json_loads(body, 0, NULL);
    const char *probe = body_text(record, "probe");
    const char *instrument = body_text(record, "instrument");
    const json_t *resistance = json_object_get(record, "resistance");
    const json_t *standard = json_object_get(record, "standard_uncertainty");
    bool noted = true;
    if (probe[0] != '\0' && instrument[0] != '\0' && json_is_number(resistance) &&
        json_number_value(standard) > 0) {
        struct probe_check *check =
            keep(checks, probe, instrument, (int)body_integer(record, "input"));
        noted = check != NULL;
        if (noted)
            check->zero = (struct lead_zero) { LEADS_ZEROED, json_number_value(resistance),
                                               json_number_value(standard), when };
    }
    json_decref(record);
    return noted;
}

void probe_checks_recall_all(struct probe_checks *checks, const char *path)
{
    const struct event_filter filter = { .kinds = 1u << EVENT_COMPENSATION_CHECKED |
                                                  1u << EVENT_LEADS_ZEROED };
    struct failure ignored = { 0 };
    struct store_look look;
    if (!store_look_open(&look, path, &ignored))
        return;
    struct store_events events = store_events_begin(&look, &filter);
    struct store_event event;
    while (store_events_next(&events, &event))
        if (event_kind_of(event.kind) == EVENT_LEADS_ZEROED)
            probe_checks_recall_zero(checks, event.body, event.at);
        else
            probe_checks_recall(checks, event.body, event.at);
    store_events_end(&events, &ignored);
    store_look_close(&look);
}

bool probe_checks_good(const struct probe_checks *checks, const struct bench *bench,
                       const struct bench_point *point, double most_s, struct wall_time now,
                       struct failure *failure)
{
    const struct probe *probe = &bench->probes[point->probe];
    const struct probe_check *check = find(checks, bench, point);
    bool checked = check != NULL && check->checked;
    if (isnan(probe->load_resistance) && !checked)
        return true;
    if (!checked)
        return failure_set(failure, FAILURE_MISTAKE, point->name, "a check of its compensation",
                           "no check of probe %s at this input is on record", probe->name);
    if (check->found.kind != COMPENSATION_RIGHT)
        return failure_set(failure, FAILURE_MISTAKE, point->name, "a compensated probe",
                           "probe %s is %s: ratio %.4g", probe->name,
                           compensation_name(check->found.kind), check->found.ratio);
    double age = duration_seconds(wall_time_since(now, check->when));
    if (age < 0)
        return failure_set(failure, FAILURE_MISTAKE, point->name, "a clock that is right",
                           "probe %s was checked later than now", probe->name);
    return age <= most_s || failure_set(failure, FAILURE_MISTAKE, point->name, NULL,
                                        "probe %s was checked %.0f s ago, at most %.0f s are asked",
                                        probe->name, age, most_s);
}
