/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "core/basics/notation.h"
#include "job_sheet.h"
#include "tools/gradus/answers/ask.h"
#include "tools/gradus/answers/output.h"
#include "tools/gradus/answers/reading.h"
#include "tools/gradus/basics/field.h"
#include "tools/gradus/basics/status.h"
#include "tools/gradus/screen/table.h"

#include <stdlib.h>

static const struct table_column list_columns[] = {
    { "job", ALIGN_LEFT },         { "serial", ALIGN_LEFT },    { "unit", ALIGN_LEFT },
    { "customer", ALIGN_LEFT },    { "readings", ALIGN_RIGHT }, { "failed", ALIGN_RIGHT },
    { "no reading", ALIGN_RIGHT }, { "last", ALIGN_LEFT },      { NULL, ALIGN_LEFT }
};

static const struct table_column sheet_columns[] = {
    { "point", ALIGN_LEFT },   { "serial", ALIGN_LEFT },  { "limits", ALIGN_LEFT },
    { "before", ALIGN_LEFT },  { "verdict", ALIGN_LEFT }, { "after", ALIGN_LEFT },
    { "verdict", ALIGN_LEFT }, { NULL, ALIGN_LEFT }
};

static void list_row(struct table *table, const json_t *entry)
{
    table_row(table);
    table_cell(table, STYLE_PLAIN, "%s", field_text_or_empty(entry, "job.name"));
    table_cell(table, STYLE_PLAIN, "%s", field_text_or_empty(entry, "job.serial"));
    table_cell(table, STYLE_PLAIN, "%s", field_text_or_empty(entry, "job.unit"));
    table_cell(table, STYLE_PLAIN, "%s", field_text_or_empty(entry, "job.customer"));
    table_cell(table, STYLE_PLAIN, "%.0f", field_number(entry, "readings"));
    table_cell(table, STYLE_PLAIN, "%.0f", field_number(entry, "failed"));
    table_cell(table, STYLE_PLAIN, "%.0f", field_number(entry, "lost"));
    table_cell(table, STYLE_PLAIN, "%s", field_text_or_empty(entry, "last"));
}

static int show_list(const struct session *session, json_t *result)
{
    const json_t *const jobs = json_object_get(result, "jobs");
    struct table *const table = table_new(list_columns);
    for (size_t i = 0; i < json_array_size(jobs); i++)
        list_row(table, json_array_get(jobs, i));
    table_print(table, session->terminal, stdout);
    table_free(table);
    return STATUS_PASS;
}

static void sheet_cells(struct table *table, const json_t *item, int digits)
{
    char text[NOTATION_SIZE];
    const char *const verdict = job_verdict(item);
    table_cell(table, STYLE_PLAIN, "%s", job_value(item, digits, text, sizeof text));
    table_cell(table, item == NULL ? STYLE_PLAIN : terminal_verdict_style(verdict), "%s", verdict);
}

static void print_sheet(const struct session *session, const struct job_sheet *sheet)
{
    struct table *const table = table_new(sheet_columns);
    for (size_t i = 0; i < sheet->line_count; i++) {
        const struct job_line *const line = &sheet->lines[i];
        char text[READING_TEXT];
        table_row(table);
        table_cell(table, STYLE_PLAIN, "%s", line->point);
        table_cell(table, STYLE_PLAIN, "%s", line->serial);
        table_cell(table, STYLE_PLAIN, "%s", job_limits(line, text));
        sheet_cells(table, line->before, session->options->digits);
        sheet_cells(table, line->after, session->options->digits);
    }
    table_print(table, session->terminal, stdout);
    table_free(table);
}

static bool write_html(const struct session *session, const struct job_sheet *sheet,
                       struct fault *fault)
{
    struct output output;
    if (!output_open(&output, session->options->html, fault))
        return false;
    job_html(sheet, session->options->digits, output.stream);
    return output_close(&output, true, fault);
}

static bool write_pdf(const struct session *session, const struct job_sheet *sheet,
                      struct fault *fault)
{
    struct output output;
    if (!output_open(&output, session->options->pdf, fault))
        return false;
    const bool made = job_pdf(sheet, session->options->digits, output.stream);
    return output_close(&output, made, fault) && made;
}

/* All of it, for programs. */
static void print_json(const struct job_sheet *sheet)
{
    json_t *const whole = json_pack("{s:O, s:O}", "job", sheet->about, "readings", sheet->items);
    if (sheet->shop != NULL)
        json_object_set(whole, "shop", sheet->shop);
    char *const text = json_dumps(whole, JSON_COMPACT | JSON_REAL_PRECISION(17));
    puts(text != NULL ? text : "");
    free(text);
    json_decref(whole);
}

static int show_sheet(const struct session *session, struct client *client, struct fault *fault)
{
    struct job_sheet sheet;
    int status = STATUS_PASS;
    bool good = job_sheet_fetch(client, session->operands[0], &sheet, fault);
    const struct options *const options = session->options;
    if (good && options->html != NULL)
        good = write_html(session, &sheet, fault);
    if (good && options->pdf != NULL)
        good = write_pdf(session, &sheet, fault);
    if (good && options->json)
        print_json(&sheet);
    else if (good && options->csv)
        job_csv(&sheet, stdout);
    else if (good && options->html == NULL && options->pdf == NULL)
        print_sheet(session, &sheet);
    if (good)
        status = job_sheet_status(&sheet);
    job_sheet_free(&sheet);
    return good ? status : fault->status;
}

static int run_jobs(const struct session *session)
{
    struct fault fault = { 0 };
    const bool writes = session->options->html != NULL || session->options->pdf != NULL;
    if (session->operand_count == 0 && (session->options->csv || writes)) {
        terminal_complain(
            session->terminal,
            "--csv, --html and --pdf go with the name of a job; gradus jobs lists them");
        return STATUS_USAGE;
    }
    if (session->operand_count == 0)
        return ask(session, NULL, "jobs", json_object(), ASK_PLAIN_MS, show_list);
    struct client *const client = client_open(session->options, &fault);
    const int status = client != NULL ? show_sheet(session, client, &fault) : fault.status;
    client_close(client);
    if (fault.status != STATUS_PASS)
        fault_explain(&fault, session->operands[0], session->terminal);
    return status;
}

const struct command command_jobs = {
    .name = "jobs",
    .arguments = "[NAME]",
    .summary = "list jobs with their readings, or one before and after",
    .usage =
        "Readings belong to a job when measure or read is given --job. Without a name: the jobs\n"
        "there are readings of, newest last. With one: the newest reading of each point before\n"
        "and after the repair (--stage), side by side; one without a stage counts as after.\n"
        "--html FILE and --pdf FILE write the report to hand over instead: shop (its logo, a PNG\n"
        "where it is for PDF), job, readings, instruments with certificates, place for a\n"
        "signature. --csv is that table for a spreadsheet, --json all of it for programs.\n"
        "The exit status is the worst of the readings after.\n",
    .options = OPTION_HTML | OPTION_PDF | OPTION_SETTINGS,
    .most = 1,
    .run = run_jobs,
};
