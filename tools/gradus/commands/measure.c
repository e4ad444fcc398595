/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "tools/gradus/answers/ask.h"
#include "tools/gradus/answers/batch.h"
#include "tools/gradus/answers/job_option.h"
#include "tools/gradus/answers/reading.h"
#include "tools/gradus/basics/status.h"

#include <string.h>

/* What the answers are printed with as they come in. */
struct printer {
    const struct session *session;
    const struct batch *batch;
    struct table *table;
    size_t printed;
};

static const json_t *request_reading(const struct request *request)
{
    return json_object_get(request->answer.json, "result");
}

static void print_request_json(const struct request *request)
{
    if (request->failed) {
        const char *const text = request->answer.text;
        ask_print_error(text, text == NULL ? 0 : strlen(text), request->point, &request->fault);
    } else {
        ask_print_member(&request->answer, "result");
    }
}

static void print_request_csv(const struct request *request)
{
    if (request->failed)
        reading_failure_csv(request->point, &request->fault);
    else
        reading_csv(request_reading(request));
}

static void print_request_row(struct printer *printer, const struct request *request)
{
    if (request->failed)
        reading_failure_row(printer->table, request->point, &request->fault);
    else
        reading_row(printer->table, request_reading(request), printer->session->options->digits);
}

/* Prints what is done in the order asked for; a table only when it is complete. */
static void print_done(void *context, size_t in_order)
{
    struct printer *const printer = context;
    const struct options *const options = printer->session->options;
    for (; printer->printed < in_order; printer->printed++) {
        const struct request *const request = &printer->batch->requests[printer->printed];
        if (options->json)
            print_request_json(request);
        else if (options->csv)
            print_request_csv(request);
        else
            print_request_row(printer, request);
    }
    fflush(stdout);
}

static void print_warnings(const struct session *session, const struct batch *batch)
{
    for (size_t i = 0; i < batch->count; i++) {
        if (!batch->requests[i].failed) {
            reading_comparison(session, batch->requests[i].point,
                               request_reading(&batch->requests[i]));
            reading_warnings(session, batch->requests[i].point,
                             request_reading(&batch->requests[i]));
        }
    }
}

/* Explains what failed, and returns the worst status of all. */
static int conclude(const struct session *session, const struct batch *batch)
{
    int status = STATUS_PASS;
    for (size_t i = 0; i < batch->count; i++) {
        const struct request *const request = &batch->requests[i];
        if (request->failed) {
            fault_explain(&request->fault, request->point, session->terminal);
            status = status_worse(status, request->fault.status);
        } else {
            status = status_worse(status, reading_status(request_reading(request)));
        }
    }
    return status;
}

static int measure_all(const struct session *session, struct client *client, struct batch *batch)
{
    const struct options *const options = session->options;
    struct printer printer = { .session = session,
                               .batch = batch,
                               .table = table_new(reading_table_columns) };
    if (options->csv)
        csv_header(stdout, reading_csv_columns);
    batch_run(batch, session, client, print_done, &printer);
    if (!options->json && !options->csv) {
        table_print(printer.table, session->terminal, stdout);
        print_warnings(session, batch);
        fflush(stdout);
    }
    table_free(printer.table);
    return conclude(session, batch);
}

static int run_measure(const struct session *session)
{
    json_t *const job = json_object();
    const bool good = job_option(session, job);
    json_decref(job);
    return good ? batch_with(session, measure_all) : STATUS_USAGE;
}

const struct command command_measure = {
    .name = "measure",
    .arguments = "POINT... | --all",
    .summary = "measure points, one settled reading each",
    .usage = "Measures the points, each in the range that resolves it best, and prints one row a\n"
             "point in the order asked for: value, expanded uncertainty with its coverage factor\n"
             "k, verdict, limits and range at the tip. All instruments work at the same time.\n"
             "A point without a reading has its reason in the verdict's place; standard error\n"
             "explains it. With --json and --csv rows are printed as they come, in that order.\n",
    .options = OPTION_REPEAT | OPTION_DEADLINE | OPTION_ALL | OPTION_SETTINGS | OPTION_JOB |
               OPTION_SERIAL | OPTION_STAGE,
    .least = 1,
    .most = -1,
    .run = run_measure,
};
