/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "burnin_report.h"

#include "output.h"
#include "report_fetch.h"
#include "report_form.h"
#include "report_words.h"
#include "status.h"

#include <math.h>

/* The JSON form in the making: points are written as they come. */
struct json_form {
    bool begun;
};

static void write_point(void *context, const json_t *study)
{
    struct json_form *form = context;
    report_json_point(study, !form->begun, stdout);
    form->begun = true;
}

/* A summary for people: what is not well, and the rest as a number. */
static void print_summary(const struct session *session, const struct report *report)
{
    const struct terminal *terminal = session->terminal;
    char text[WORDS_SIZE];
    terminal_print(terminal, stdout, "%s\n%s\n", report->run, report_outcome(report, text));
    if (report_disturbances(report, text)[0] != '\0') {
        terminal_print(terminal, stdout, "%s\n", text);
    }
    for (size_t i = 0; i < report->point_count; i++) {
        const struct report_point *point = &report->points[i];
        if (point->class == REPORT_WELL) {
            continue;
        }
        terminal_style(terminal, stdout, point->class == REPORT_FAILED ? STYLE_BAD : STYLE_DOUBT);
        terminal_print(terminal, stdout, "%s: %s", point->name, report_class_name(point->class));
        terminal_style(terminal, stdout, STYLE_PLAIN);
        terminal_print(terminal, stdout, ". %s\n", report_course(point, text));
    }
    terminal_print(terminal, stdout, "%s\n", report_caution);
}

static bool save_html(const struct report *report, const char *path, struct fault *fault)
{
    struct output output;
    if (!output_open(&output, path, fault)) {
        return false;
    }
    report_html(report, output.stream);
    return output_close(&output, true, fault);
}

static bool save_pdf(const struct report *report, const char *path, struct fault *fault)
{
    struct output output;
    if (!output_open(&output, path, fault)) {
        return false;
    }
    bool made = report_pdf(report, output.stream);
    if (!made) {
        fault_set(fault, STATUS_USAGE, "not written", "%s: the pages could not be made", path);
    }
    return output_close(&output, made, fault) && made;
}

static bool write_forms(const struct session *session, struct report *report, struct client *client,
                        struct fault *fault)
{
    const struct options *options = session->options;
    struct json_form form = { 0 };
    if (options->json) {
        report_json_begin(report, stdout);
    }
    if (!report_fetch_points(report, client, session->terminal, options->json ? write_point : NULL,
                             &form, fault)) {
        return false;
    }
    if (options->json) {
        report_json_end(stdout);
    } else if (options->csv && !report_csv(report->run, client, stdout, fault)) {
        return false;
    } else if (!options->csv && !options->quiet && options->html == NULL && options->pdf == NULL) {
        print_summary(session, report);
    }
    return (options->html == NULL || save_html(report, options->html, fault)) &&
           (options->pdf == NULL || save_pdf(report, options->pdf, fault));
}

static int status_of(const struct report *report)
{
    return report_units(report, REPORT_FAILED) > 0    ? STATUS_FAIL
           : report_units(report, REPORT_UNKNOWN) > 0 ? STATUS_NO_READING
                                                      : STATUS_PASS;
}

int burnin_report(const struct session *session)
{
    struct fault fault = { 0 };
    struct report report = { 0 };
    struct client *client = client_open(session->options, &fault);
    bool done = client != NULL && report_fetch_run(&report, session->operands[1], client, &fault) &&
                write_forms(session, &report, client, &fault);
    int status = done ? status_of(&report) : fault.status;
    if (!done) {
        fault_explain(&fault, session->operands[1], session->terminal);
    }
    report_end(&report);
    client_close(client);
    return status;
}
