/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "run_record.h"

#include "daemon/basics/body.h"
#include "daemon/basics/text.h"
#include "daemon/store/store_read.h"

#include <stdio.h>
#include <string.h>

void run_record_encode(struct text *text, const struct bench_burnin *plan,
                       const struct burnin_schedule *schedule)
{
    text_member_integer(text, "trip_after", plan->trip_after);
    text_member_integer(text, "lost_after", plan->lost_after);
    text_key(text, "phases");
    text_open(text, '[');
    for (size_t i = 0; i < plan->phase_count; i++) {
        text_open(text, '{');
        text_member_string(text, "phase", plan->phases[i].name);
        text_member_integer(text, "end_ns", schedule->phase_ends[i]);
        text_close(text, '}');
    }
    text_close(text, ']');
    text_key(text, "points");
    text_open(text, '[');
    for (size_t i = 0; i < plan->point_count; i++) {
        const struct bench_point *point = plan->phases[0].points[i];
        text_open(text, '{');
        text_member_string(text, "point", point->name);
        if (point->unit_number != 0)
            text_member_integer(text, "unit_number", point->unit_number);
        text_member_number(text, "drift", plan->drifts[i].bound);
        text_member_number(text, "drift_relative", plan->drifts[i].relative);
        text_member_number(text, "drift_reference", plan->drifts[i].reference);
        text_close(text, '}');
    }
    text_close(text, ']');
}

/* The schedule as it was; false when the event does not say it. */
static bool take_schedule(struct run_record *record)
{
    struct burnin_schedule *schedule = &record->schedule;
    const json_t *phases = json_object_get(record->body, "phases");
    schedule->first = body_integer(record->body, "first_ns");
    schedule->every = body_integer(record->body, "every_ns");
    schedule->warm_until = body_integer(record->body, "warm_until_ns");
    schedule->phase_count = json_array_size(phases);
    record->trip_after = (int)body_integer(record->body, "trip_after");
    record->lost_after = (int)body_integer(record->body, "lost_after");
    if (schedule->every <= 0 || schedule->phase_count < 1 || schedule->phase_count > BURNIN_PHASES)
        return false;
    for (size_t i = 0; i < schedule->phase_count; i++)
        schedule->phase_ends[i] = body_integer(json_array_get(phases, i), "end_ns");
    return true;
}

static bool take(struct run_record *record, const char *run, const char *body)
{
    memset(record, 0, sizeof *record);
    record->body = body != NULL ? json_loads(body, 0, NULL) : NULL;
    snprintf(record->run, sizeof record->run, "%s", run != NULL ? run : "");
    snprintf(record->plan, sizeof record->plan, "%s", body_text(record->body, "plan"));
    if (record->body != NULL && take_schedule(record))
        return true;
    run_record_end(record);
    return false;
}

bool run_record_read(sqlite3 *sqlite, const char *name, struct run_record *record,
                     struct failure *failure)
{
    static const char sql[] = "SELECT subject, body FROM events WHERE kind = 'run began' AND"
                              " (subject = ?1 OR json_extract(body, '$.plan') = ?1)"
                              " ORDER BY subject = ?1 DESC, id DESC LIMIT 1";
    sqlite3_stmt *at = store_read_about(sqlite, sql, name, NULL);
    if (at == NULL)
        return store_read_fail(sqlite, failure);
    int code = sqlite3_step(at);
    bool read = code == SQLITE_ROW && take(record, store_read_text(at, 0), store_read_text(at, 1));
    if (code == SQLITE_DONE)
        failure_set(failure, FAILURE_SETTINGS, NULL, "a run or plan that burnin.runs names",
                    "there is no run %.120s on record", name);
    else if (code != SQLITE_ROW)
        store_read_fail(sqlite, failure);
    else if (!read)
        failure_set(failure, FAILURE_SYSTEM, name, "the event as it was written",
                    "what is on record of the run cannot be read");
    sqlite3_finalize(at);
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
                                        .reference = body_number(each, "drift_reference") };
        return true;
    }
    return false;
}
