/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "burnin_report.h"

#include "tools/gradus/answers/output.h"
#include "tools/gradus/basics/status.h"
#include "tools/gradus/report/report_fetch.h"
#include "tools/gradus/report/report_form.h"
#include "tools/gradus/report/report_tables.h"

#include <string.h>

/* Where each form goes; NULL: it is not wanted. */
struct forms {
    const char *json, *csv, *html, *pdf;
};

/* The JSON form in the making: points are written as they come. */
struct json_form {
    struct output output;
    bool begun;
};

static void write_point(void *context, const json_t *study)
{
    struct json_form *form = context;
    report_json_point(study, !form->begun, form->output.stream);
    form->begun = true;
}

static void print_warning(void *context, const char *sentence)
{
    const struct terminal *terminal = context;
    terminal_style(terminal, stdout, STYLE_DOUBT);
    terminal_print(terminal, stdout, "%s", sentence);
    terminal_style(terminal, stdout, STYLE_PLAIN);
    fputc('\n', stdout);
}

static void print_point(const struct terminal *terminal, const struct report_point *point)
{
    char text[WORDS_SIZE];
    static const enum style styles[] = { [REPORT_FAILED] = STYLE_BAD,
                                         [REPORT_WATCH] = STYLE_DOUBT,
                                         [REPORT_UNKNOWN] = STYLE_DOUBT,
                                         [REPORT_WELL] = STYLE_PLAIN };
    terminal_style(terminal, stdout, styles[point->class]);
    terminal_print(terminal, stdout, "%s: %s.", point->name, report_class_name(point->class));
    terminal_style(terminal, stdout, STYLE_PLAIN);
    terminal_print(terminal, stdout, " %s\n", report_course(point, text));
}

/* A summary for people: what is not well, check standards, and the rest as a number. What drifts with its instrument is told once. */
static void print_summary(const struct terminal *terminal, const struct report *report)
{
    char text[WORDS_SIZE];
    struct terminal warned = *terminal;
    terminal_print(terminal, stdout, "%s\n%s\n", report->run, report_outcome(report, text));
    report_warnings(report, print_warning, &warned);
    for (size_t i = 0; i < report->point_count; i++) {
        const struct report_point *point = &report->points[i];
        if (!report_is_line(point) && !(point->class == REPORT_WATCH && point->shared != NULL))
            print_point(terminal, point);
    }
    terminal_print(terminal, stdout, "%s\n", report_caution);
}

/* Fetches all points, and writes each into the JSON form on the way. */
static bool fetch_and_save_json(struct report *report, const char *path, struct client *client,
                                const struct terminal *terminal, struct fault *fault)
{
    struct json_form form = { 0 };
    if (!output_open(&form.output, path, fault))
        return false;
    report_json_begin(report, form.output.stream);
    bool made = report_fetch_points(report, client, terminal, write_point, &form, fault);
    if (made)
        report_json_end(report, form.output.stream);
    return output_close(&form.output, made, fault) && made;
}

static bool save_csv(const struct report *report, const char *path, struct client *client,
                     struct fault *fault)
{
    struct output output;
    if (!output_open(&output, path, fault))
        return false;
    bool made = report_csv(report->run, client, output.stream, fault);
    return output_close(&output, made, fault) && made;
}

static bool save_html(const struct report *report, const char *path, struct fault *fault)
{
    struct output output;
    if (!output_open(&output, path, fault))
        return false;
    report_html(report, output.stream);
    return output_close(&output, true, fault);
}

static bool save_pdf(const struct report *report, const char *path, struct fault *fault)
{
    struct output output;
    if (!output_open(&output, path, fault))
        return false;
    bool made = report_pdf(report, output.stream);
    if (!made)
        fault_set(fault, STATUS_USAGE, "not written", "%s: the pages could not be made", path);
    return output_close(&output, made, fault) && made;
}

static bool write_forms(const struct session *session, const struct forms *forms,
                        struct report *report, struct client *client, struct fault *fault)
{
    bool any =
        forms->json != NULL || forms->csv != NULL || forms->html != NULL || forms->pdf != NULL;
    bool fetched = forms->json != NULL
                       ? fetch_and_save_json(report, forms->json, client, session->terminal, fault)
                       : report_fetch_points(report, client, session->terminal, NULL, NULL, fault);
    if (fetched && !any && !session->options->quiet)
        print_summary(session->terminal, report);
    return fetched && (forms->csv == NULL || save_csv(report, forms->csv, client, fault)) &&
           (forms->html == NULL || save_html(report, forms->html, fault)) &&
           (forms->pdf == NULL || save_pdf(report, forms->pdf, fault));
}

/* --json and --csv before the subcommand name no file. */
static struct forms forms_of(const struct options *options)
{
    return (struct forms) { options->json_file != NULL ? options->json_file
                            : options->json            ? "-"
                                                       : NULL,
                            options->csv_file != NULL ? options->csv_file
                            : options->csv            ? "-"
                                                      : NULL,
                            options->html, options->pdf };
}

/* Whether two forms would be written to the same place. */
static bool collide(const struct forms *forms)
{
    const char *const places[] = { forms->json, forms->csv, forms->html, forms->pdf };
    for (size_t i = 0; i < sizeof places / sizeof *places; i++) {
        for (size_t j = 0; j < i; j++)
            if (places[i] != NULL && places[j] != NULL && strcmp(places[i], places[j]) == 0)
                return true;
    }
    return false;
}

int burnin_report(const struct session *session)
{
    const struct forms forms = forms_of(session->options);
    const char *name = session->operands[1];
    struct fault fault = { 0 };
    struct report report = { 0 };
    if (collide(&forms)) {
        terminal_complain(session->terminal, "two forms of the report cannot be one file");
        return STATUS_USAGE;
    }
    struct client *client = client_open(session->options, &fault);
    bool done = client != NULL &&
                report_fetch_run(&report, name, session->options->digits, client, &fault) &&
                write_forms(session, &forms, &report, client, &fault);
    int status = done ? report_status(&report) : fault.status;
    if (!done)
        fault_explain(&fault, name, session->terminal);
    report_end(&report);
    client_close(client);
    return status;
}
