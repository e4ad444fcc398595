/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "ask.h"
#include "batch.h"
#include "reading.h"
#include "tools/gradus/basics/status.h"

#include <string.h>

/* What the answers are printed with as they come in. */
struct printer {
    const struct session *session;
    const struct batch *batch;
    struct table *table;
    size_t printed;
};

static const json_t *job_reading(const struct job *job)
{
    return json_object_get(job->answer.json, "result");
}

static void print_job_json(const struct job *job)
{
    if (job->failed) {
        const char *const text = job->answer.text;
        ask_print_error(text, text == NULL ? 0 : strlen(text), job->point, &job->fault);
    } else {
        ask_print_member(&job->answer, "result");
    }
}

static void print_job_csv(const struct job *job)
{
    if (job->failed) {
        reading_failure_csv(job->point, &job->fault);
    } else {
        reading_csv(job_reading(job));
    }
}

static void print_job_row(struct printer *printer, const struct job *job)
{
    if (job->failed) {
        reading_failure_row(printer->table, job->point, &job->fault);
    } else {
        reading_row(printer->table, job_reading(job), printer->session->options->digits);
    }
}

/* Prints what is done in the order asked for; a table only when it is complete. */
static void print_done(void *context, size_t in_order)
{
    struct printer *const printer = context;
    const struct options *const options = printer->session->options;
    for (; printer->printed < in_order; printer->printed++) {
        const struct job *const job = &printer->batch->jobs[printer->printed];
        if (options->json) {
            print_job_json(job);
        } else if (options->csv) {
            print_job_csv(job);
        } else {
            print_job_row(printer, job);
        }
    }
    fflush(stdout);
}

static void print_warnings(const struct session *session, const struct batch *batch)
{
    for (size_t i = 0; i < batch->count; i++) {
        if (!batch->jobs[i].failed) {
            reading_comparison(session, batch->jobs[i].point, job_reading(&batch->jobs[i]));
            reading_warnings(session, batch->jobs[i].point, job_reading(&batch->jobs[i]));
        }
    }
}

/* Explains what failed, and returns the worst status of all. */
static int conclude(const struct session *session, const struct batch *batch)
{
    int status = STATUS_PASS;
    for (size_t i = 0; i < batch->count; i++) {
        const struct job *const job = &batch->jobs[i];
        if (job->failed) {
            fault_explain(&job->fault, job->point, session->terminal);
            status = status_worse(status, job->fault.status);
        } else {
            status = status_worse(status, reading_status(job_reading(job)));
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
    batch_cautions(batch, session);
    if (options->csv) {
        csv_header(stdout, reading_csv_columns);
    }
    batch_run(batch, session, client, print_done, &printer);
    if (!options->json && !options->csv) {
        table_print(printer.table, session->terminal, stdout);
        print_warnings(session, batch);
        fflush(stdout);
    }
    table_free(printer.table);
    return conclude(session, batch);
}

static int run(const struct session *session)
{
    struct fault fault = { 0 };
    struct batch batch = { 0 };
    struct client *const client = client_open(session->options, &fault);
    int status;
    if (client != NULL && batch_prepare(&batch, session, client, &fault)) {
        status = measure_all(session, client, &batch);
    } else {
        fault_explain(&fault, NULL, session->terminal);
        status = fault.status;
    }
    batch_free(&batch);
    client_close(client);
    return status;
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
    .options = OPTION_REPEAT | OPTION_DEADLINE | OPTION_ALL,
    .least = 1,
    .most = -1,
    .run = run,
};
