/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "report_fetch.h"

#include "report_limits.h"
#include "report_shared.h"
#include "tools/gradus/answers/ask.h"
#include "tools/gradus/basics/field.h"
#include "tools/gradus/basics/status.h"

#include <stdio.h>

/* A study reads every reading of its point. */
static const double study_ms = 120000;

/* Appends a page of events to those there are; 1: there are more, 0: no, -1: the fault is filled in. */
static int fetch_page(json_t *events, const char *name, json_int_t after, struct client *client,
                      struct fault *fault)
{
    struct message answer = { 0 };
    json_t *params = json_pack("{s:s, s:I}", "run", name, "after", after);
    int more = -1;
    if (params == NULL) {
        fault_set(fault, STATUS_USAGE, "bad name", "the run's name is not valid UTF-8");
    } else if (client_call(client, "burnin.events", params, ASK_PLAIN_MS + ASK_GRACE_MS, &answer,
                           fault)) {
        json_t *page = json_object_get(json_object_get(answer.json, "result"), "events");
        json_array_extend(events, page);
        more = field_true(answer.json, "result.more") && json_array_size(page) > 0;
    }
    message_clear(&answer);
    return more;
}

bool report_fetch_run(struct report *report, const char *name, int digits, struct client *client,
                      struct fault *fault)
{
    json_t *events = json_array();
    json_int_t after = 0;
    int more = 1;
    while (more > 0) {
        more = fetch_page(events, name, after, client, fault);
        /* A plan's newest run may be another one by the next page. */
        const char *run = field_text(json_array_get(events, 0), "body.run");
        name = run != NULL ? run : name;
        const json_t *last = json_array_get(events, json_array_size(events) - 1);
        after = json_integer_value(json_object_get(last, "id"));
    }
    bool begun = report_begin(report, events, digits);
    if (more == 0 && !begun)
        ask_senseless(fault, "a run that began");
    return more == 0 && begun;
}

static bool fetch_point(struct report *report, const char *point, struct client *client,
                        report_look *look, void *context, struct fault *fault)
{
    struct message answer = { 0 };
    json_t *params =
        json_pack("{s:s, s:s, s:i}", "run", report->run, "point", point, "buckets", REPORT_BUCKETS);
    bool taken = false;
    if (client_call(client, "burnin.study", params, study_ms, &answer, fault)) {
        json_t *study = json_incref(json_object_get(answer.json, "result"));
        if (look != NULL)
            look(context, study);
        taken = report_add(report, study);
        if (!taken)
            ask_senseless(fault, "the study of a point");
    }
    message_clear(&answer);
    return taken;
}

bool report_fetch_points(struct report *report, struct client *client,
                         const struct terminal *terminal, report_look *look, void *context,
                         struct fault *fault)
{
    const char *name;
    bool fetched = true;
    for (size_t i = 0; fetched && (name = report_name(report, i)) != NULL; i++) {
        char progress[160];
        snprintf(progress, sizeof progress, "%zu of %zu: %.100s", i + 1,
                 json_array_size(field_at(report->began, "points")), name);
        terminal_progress(terminal, progress);
        fetched = fetch_point(report, name, client, look, context, fault);
    }
    terminal_progress(terminal, NULL);
    report_sort(report);
    report_share(report);
    report_number_limits(report);
    return fetched;
}
