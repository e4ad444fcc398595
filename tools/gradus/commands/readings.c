/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "readings_csv.h"
#include "tools/gradus/answers/ask.h"
#include "tools/gradus/basics/field.h"
#include "tools/gradus/basics/status.h"
#include "tools/gradus/screen/table.h"

#include "core/basics/nearest.h"
#include "core/basics/notation.h"

#include <stdlib.h>
#include <string.h>

/* Readings in one question, as many as the daemon gives, and how many are shown by default. */
enum { PAGE_MOST = 1000, LIMIT_DEFAULT = 100 };

/* A verification reads the whole store. */
static const double verify_ms = 3600000;

/* Readings being fetched and shown. */
struct fetch {
    const struct session *session;
    struct client *client;
    struct table *table; /* NULL: not for people */
    struct csv_column *columns;
    size_t *shown; /* readings, so far */
};

static const struct table_column table_columns[] = {
    { "id", ALIGN_RIGHT },    { "time", ALIGN_LEFT },    { "point", ALIGN_LEFT },
    { "result", ALIGN_LEFT }, { "verdict", ALIGN_LEFT }, { "instrument", ALIGN_LEFT },
    { "run", ALIGN_LEFT },    { NULL, ALIGN_LEFT }
};

static void show_csv(const struct fetch *fetch, const json_t *item)
{
    json_t *const record = readings_csv_object(item);
    csv_record(stdout, fetch->columns, record);
    json_decref(record);
}

static void show_row(const struct fetch *fetch, const json_t *item)
{
    const json_t *const reading = field_at(item, "reading");
    const char *const verdict = field_text_or_empty(reading, "verdict");
    char result[NOTATION_SIZE];
    table_row(fetch->table);
    table_cell(fetch->table, STYLE_PLAIN, "%.0f", field_number(item, "id"));
    table_cell(fetch->table, STYLE_PLAIN, "%s", field_text_or_empty(item, "time"));
    table_cell(fetch->table, STYLE_PLAIN, "%s", field_text_or_empty(item, "point"));
    if (reading != NULL) {
        notation_result(result, sizeof result, field_number(reading, "value"),
                        field_number(reading, "uncertainty"), fetch->session->options->digits,
                        field_text(reading, "unit"));
        table_cell(fetch->table, STYLE_PLAIN, "%s", result);
        table_cell(fetch->table, terminal_verdict_style(verdict), "%s", verdict);
    } else {
        table_cell(fetch->table, STYLE_PLAIN, "-");
        table_cell(fetch->table, STYLE_BAD, "%s", field_text_or_empty(item, "error.message"));
    }
    table_cell(fetch->table, STYLE_PLAIN, "%s", field_text_or_empty(reading, "instrument.name"));
    table_cell(fetch->table, STYLE_PLAIN, "%s", field_text_or_empty(item, "run"));
}

static void show_json(const json_t *item)
{
    char *const text = json_dumps(item, JSON_COMPACT | JSON_REAL_PRECISION(17));
    puts(text == NULL ? "" : text);
    free(text);
}

static void show_page(const struct fetch *fetch, const json_t *readings)
{
    *fetch->shown += json_array_size(readings);
    for (size_t i = 0; i < json_array_size(readings); i++) {
        const json_t *const item = json_array_get(readings, i);
        if (fetch->session->options->json)
            show_json(item);
        else if (fetch->session->options->csv)
            show_csv(fetch, item);
        else
            show_row(fetch, item);
    }
}

static void set_text(json_t *params, const char *name, const char *text)
{
    if (text != NULL)
        json_object_set_new(params, name, json_string(text));
}

/* What is asked for each page; `bound` ("after" or "before") goes in where it is not 0. */
static json_t *page_params(const struct session *session, int limit, const char *bound,
                           json_int_t id)
{
    json_t *const params = json_object();
    set_text(params, "point", session->operands[0]);
    set_text(params, "since", session->options->since);
    set_text(params, "until", session->options->until);
    set_text(params, "run", session->options->run);
    set_text(params, "job", session->options->job);
    set_text(params, "serial", session->options->serial);
    json_object_set_new(params, "limit", json_integer(limit < PAGE_MOST ? limit : PAGE_MOST));
    if (bound != NULL)
        json_object_set_new(params, bound, json_integer(id));
    return params;
}

/* One page, to be freed with json_decref(); NULL with the fault filled in. */
static json_t *ask_page(const struct fetch *fetch, json_t *params, struct fault *fault)
{
    struct message answer = { 0 };
    json_t *result = NULL;
    if (client_call(fetch->client, "readings", params, ASK_PLAIN_MS + ASK_GRACE_MS, &answer,
                    fault)) {
        result = json_incref(json_object_get(answer.json, "result"));
        if (!json_is_array(json_object_get(result, "readings"))) {
            json_decref(result);
            result = NULL;
            ask_senseless(fault, "a list of readings");
        }
    }
    message_clear(&answer);
    return result;
}

static json_int_t id_at(const json_t *readings, size_t index)
{
    return json_integer_value(json_object_get(json_array_get(readings, index), "id"));
}

/* All readings from the oldest on, shown as they come. */
static bool fetch_forward(const struct fetch *fetch, struct fault *fault)
{
    json_int_t after = 0;
    bool more = true;
    while (more) {
        json_t *const page =
            ask_page(fetch, page_params(fetch->session, PAGE_MOST, "after", after), fault);
        if (page == NULL)
            return false;
        const json_t *const readings = json_object_get(page, "readings");
        const size_t count = json_array_size(readings);
        show_page(fetch, readings);
        more = field_true(page, "more") && count > 0;
        after = count > 0 ? id_at(readings, count - 1) : after;
        json_decref(page);
    }
    return true;
}

/* The newest `limit` readings: pages from the last back, shown when all are there. */
static bool fetch_newest(const struct fetch *fetch, int limit, struct fault *fault)
{
    json_t *const pages = json_array();
    json_int_t before = 0;
    bool more = true;
    while (more && limit > 0) {
        const char *const bound = before > 0 ? "before" : NULL;
        json_t *const page =
            ask_page(fetch, page_params(fetch->session, limit, bound, before), fault);
        if (page == NULL) {
            json_decref(pages);
            return false;
        }
        const json_t *const readings = json_object_get(page, "readings");
        const size_t count = json_array_size(readings);
        limit -= (int)count;
        more = field_true(page, "more") && count > 0;
        before = id_at(readings, 0);
        json_array_append_new(pages, page);
    }
    for (size_t i = json_array_size(pages); i > 0; i--)
        show_page(fetch, json_object_get(json_array_get(pages, i - 1), "readings"));
    json_decref(pages);
    return true;
}

static bool fetch_all(struct fetch *fetch, struct fault *fault)
{
    const struct options *const options = fetch->session->options;
    const bool forward = options->since != NULL && options->limit == 0;
    if (options->csv) {
        fetch->columns = readings_csv_columns();
        csv_header(stdout, fetch->columns);
    } else if (!options->json) {
        fetch->table = table_new(table_columns);
    }
    const bool fetched =
        forward ? fetch_forward(fetch, fault)
                : fetch_newest(fetch, options->limit > 0 ? options->limit : LIMIT_DEFAULT, fault);
    if (fetch->table != NULL)
        table_print(fetch->table, fetch->session->terminal, stdout);
    table_free(fetch->table);
    free(fetch->columns);
    return fetched;
}

/* Offers what a member of each entry of an answer's list says, the answer to be freed by the caller. */
static void offer_each(const struct fetch *fetch, const char *method, const char *list,
                       const char *member, const char *unknown, struct message *answer,
                       struct nearest *nearest)
{
    struct fault ignored = { 0 };
    size_t index;
    json_t *entry;
    if (!client_call(fetch->client, method, json_object(), ASK_PLAIN_MS + ASK_GRACE_MS, answer,
                     &ignored))
        return;
    const json_t *const result = json_object_get(answer->json, "result");
    json_array_foreach(json_is_array(result) ? result : field_at(result, list), index, entry)
    {
        if (field_text(entry, member) != NULL)
            nearest_offer(nearest, unknown, field_text(entry, member));
    }
}

/* Nothing was found: false with the fault filled in when that is since nothing has such a name. */
static bool check_name(const struct fetch *fetch, struct fault *fault)
{
    const struct options *const options = fetch->session->options;
    const char *const what = options->run != NULL   ? "run"
                             : options->job != NULL ? "job"
                                                    : "serial number";
    const char *const name = options->run != NULL   ? options->run
                             : options->job != NULL ? options->job
                                                    : options->serial;
    struct message answer = { 0 };
    struct nearest nearest = { 0 };
    if (name == NULL || *fetch->shown > 0 || options->since != NULL || options->until != NULL)
        return true;
    if (options->run != NULL)
        offer_each(fetch, "burnin.runs", "runs", "run", name, &answer, &nearest);
    else
        offer_each(fetch, "jobs", "jobs", options->job != NULL ? "job.name" : "job.serial", name,
                   &answer, &nearest);
    const bool known = nearest.word != NULL && strcmp(nearest.word, name) == 0;
    if (!known) {
        fault_set(fault, STATUS_USAGE, "unknown name", "no reading of a %s \"%.64s\" is kept", what,
                  name);
        if (nearest.word != NULL)
            snprintf(fault->expected, sizeof fault->expected, "perhaps %.64s", nearest.word);
    }
    message_clear(&answer);
    return known;
}

static int show_verification(const struct session *session, json_t *result)
{
    if (!json_is_boolean(json_object_get(result, "intact"))) {
        struct fault fault = { 0 };
        ask_senseless(&fault, "whether the store is intact");
        fault_explain(&fault, NULL, session->terminal);
        return fault.status;
    }
    terminal_print(session->terminal, stdout, "%.0f readings intact, %.0f were removed by policy\n",
                   field_number(result, "readings"), field_number(result, "removed"));
    if (field_number(result, "missing") > 0)
        terminal_print(session->terminal, stdout, "%.0f rows were lost\n",
                       field_number(result, "missing"));
    if (!field_true(result, "intact")) {
        terminal_complain(session->terminal, "row %.0f: %s", field_number(result, "first_bad"),
                          field_text_or_empty(result, "what"));
        return STATUS_FAIL;
    }
    terminal_print(session->terminal, stdout, "intact up to row %.0f, digest %s\n",
                   field_number(result, "last"), field_text_or_empty(result, "digest"));
    return STATUS_PASS;
}

/* Printed JSON tells by its exit status too whether the store is intact. */
static int verify_json(const struct session *session, json_t *result)
{
    show_json(result);
    (void)session;
    return field_true(result, "intact") ? STATUS_PASS : STATUS_FAIL;
}

static int verify(const struct session *session)
{
    struct options plain = *session->options;
    struct session asking = *session;
    plain.json = false;
    asking.options = &plain;
    return ask(&asking, NULL, "verify", json_object(), verify_ms,
               session->options->json ? verify_json : show_verification);
}

static int run_readings(const struct session *session)
{
    struct fault fault = { 0 };
    size_t shown = 0;
    struct fetch fetch = { .session = session, .shown = &shown };
    if (session->options->verify)
        return verify(session);
    fetch.client = client_open(session->options, &fault);
    const bool fetched =
        fetch.client != NULL && fetch_all(&fetch, &fault) && check_name(&fetch, &fault);
    client_close(fetch.client);
    if (!fetched)
        fault_explain(&fault, NULL, session->terminal);
    return fetched ? STATUS_PASS : fault.status;
}

const struct command command_readings = {
    .name = "readings",
    .arguments = "[POINT]",
    .summary = "show readings out of the store",
    .usage =
        "Lists the newest readings that the daemon has kept, newest last: id, time (UTC), point,\n"
        "value with expanded uncertainty, verdict or the reason why there is none. With --csv all\n"
        "that there is to defend a number: budget figures, identity, calibration, settings "
        "digest,\n"
        "software version. With --verify no reading is listed, but every row is checked against\n"
        "the chain of digests: exit status 1 when a row was removed or altered. A point, run,\n"
        "job or serial number that nothing has is an error: exit status 2.\n",
    .options = OPTION_SETTINGS | OPTION_SINCE | OPTION_UNTIL | OPTION_LIMIT | OPTION_RUN |
               OPTION_VERIFY | OPTION_JOB | OPTION_SERIAL,
    .least = 0,
    .most = 1,
    .run = run_readings,
};
