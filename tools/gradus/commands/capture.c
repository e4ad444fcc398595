/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "tools/gradus/answers/ask.h"
#include "tools/gradus/answers/csv.h"
#include "tools/gradus/answers/job_option.h"
#include "tools/gradus/answers/reading.h"
#include "tools/gradus/basics/field.h"
#include "tools/gradus/basics/memory.h"
#include "tools/gradus/basics/status.h"
#include "tools/gradus/screen/plot.h"
#include "tools/gradus/screen/table.h"

#include "core/basics/notation.h"

#include <math.h>
#include <stdlib.h>

static const double least_noise = 0.01; /* converter steps */

enum { PLOT_ROWS = 16, ALL_SAMPLES = 2000000, DIGITS = 4 };

/* What came, checked. */
struct record {
    const json_t *result;
    const char *unit;
    double interval;
    size_t count;
    double *samples;
};

static bool read_samples(struct record *record, const json_t *samples)
{
    for (size_t i = 0; i < record->count; i++) {
        const json_t *const sample = json_array_get(samples, i);
        if (!json_is_number(sample))
            return false;
        record->samples[i] = json_number_value(sample);
    }
    return true;
}

/* Takes the answer apart. False with the fault filled in when something is missing. */
static bool record_take(struct record *record, const json_t *result, struct fault *fault)
{
    const json_t *const samples = field_at(result, "samples");
    *record = (struct record) { .result = result,
                                .unit = field_text(result, "unit"),
                                .interval = field_number(result, "interval"),
                                .count = json_array_size(samples) };
    record->samples = memory_zeroed(record->count, sizeof *record->samples);
    if (record->unit == NULL || !(record->interval > 0) || record->count < 2 ||
        !read_samples(record, samples)) {
        ask_senseless(fault, "two samples or more, their interval and unit");
        free(record->samples);
        return false;
    }
    return true;
}

/* The time of each sample is formed from its number, so that no rounding adds up. */
static void print_csv(const struct record *record)
{
    char number[CSV_NUMBER_SIZE];
    fputs("time,value,time_unit,unit\r\n", stdout);
    for (size_t i = 0; i < record->count; i++) {
        fprintf(stdout, "%s,", csv_number(number, (double)i * record->interval));
        fprintf(stdout, "%s,s,", csv_number(number, record->samples[i]));
        csv_field(stdout, record->unit);
        fputs("\r\n", stdout);
    }
}

static double to_tip(const struct record *record)
{
    return field_number(record->result, "range.at_tip") /
           field_number(record->result, "range.full_scale");
}

static void print_heading(const struct session *session, const struct record *record)
{
    char interval[READING_TEXT];
    char recorded[READING_TEXT] = "";
    const double all = field_number(record->result, "recorded");
    if (all > (double)record->count)
        snprintf(recorded, sizeof recorded, " of %.0f", all);
    terminal_print(session->terminal, stdout, "%s: %s at the tip, %zu%s samples, %s apart\n",
                   field_text_or_empty(record->result, "point"), record->unit, record->count,
                   recorded, reading_setting(record->interval, "s", interval));
}

/* What it waited for, and where that is. */
static void print_trigger(const struct session *session, const struct record *record)
{
    char level[READING_TEXT], at[READING_TEXT];
    const json_t *const trigger = field_at(record->result, "trigger");
    if (trigger == NULL)
        return;
    reading_setting(field_number(trigger, "level"), record->unit, level);
    reading_setting(field_number(trigger, "at"), "s", at);
    terminal_print(session->terminal, stdout, "%s through %s %s after the first sample\n",
                   field_text_or_empty(trigger, "way"), level, at);
}

static void print_plot(const struct session *session, const struct record *record)
{
    const struct plot plot = { .samples = record->samples,
                               .count = record->count,
                               .interval = record->interval,
                               .resolution = field_number(record->result, "range.resolution") *
                                             to_tip(record),
                               .unit = record->unit,
                               .width = session->terminal->columns,
                               .height = PLOT_ROWS,
                               .ascii = session->options->ascii || session->terminal->ascii };
    char *const text = plot_draw(&plot);
    if (text == NULL) {
        terminal_complain(session->terminal,
                          "the waveform cannot be drawn: its span is too small or too large");
        return;
    }
    fputs(text, stdout);
    free(text);
}

static void parameter_row(struct table *table, const json_t *result, const char *name,
                          const char *path, const char *unit)
{
    char text[NOTATION_SIZE];
    const double value = field_number(result, path);
    if (isfinite(value)) {
        table_row(table);
        table_cell(table, STYLE_PLAIN, "%s", name);
        table_cell(table, STYLE_PLAIN, "%s",
                   notation_value(text, sizeof text, value, DIGITS, unit));
    }
}

/* Noise far below one step of the converter is not seen, only left over from the arithmetic. */
static void noise_row(struct table *table, const struct record *record)
{
    const double noise = field_number(record->result, "parameters.noise");
    if (noise > least_noise * field_number(record->result, "range.resolution") * to_tip(record))
        parameter_row(table, record->result, "noise of a sample", "parameters.noise", record->unit);
}

static void periods_row(struct table *table, const json_t *result)
{
    char text[READING_TEXT];
    const double periods = field_number(result, "parameters.periods");
    if (periods > 0) {
        table_row(table);
        table_cell(table, STYLE_PLAIN, "whole periods");
        table_cell(table, STYLE_PLAIN, "%s", reading_setting(periods, "", text));
    }
}

/* A figure with its uncertainty; of an edge also what was taken off. */
static void figure_row(struct table *table, const json_t *result, const char *name)
{
    char text[NOTATION_SIZE], seen[NOTATION_SIZE], own[NOTATION_SIZE];
    const json_t *const figure = json_object_get(field_at(result, "figures"), name);
    const double value = field_number(figure, "value");
    if (!isfinite(value))
        return;
    table_row(table);
    table_cell(table, STYLE_PLAIN, "%s", name);
    table_cell(table, STYLE_PLAIN, "%s",
               notation_result(text, sizeof text, value, field_number(figure, "uncertainty"), 2,
                               field_text_or_empty(figure, "unit")));
    if (isfinite(field_number(figure, "seen"))) {
        table_cell(table, STYLE_PLAIN, "%s seen, own %s taken off",
                   notation_value(seen, sizeof seen, field_number(figure, "seen"), DIGITS, "s"),
                   notation_value(own, sizeof own, field_number(figure, "own"), 2, "s"));
    }
}

/* Why a figure is not there, where a bound of it is. */
static void bound_row(struct table *table, const json_t *result, const char *name)
{
    char text[NOTATION_SIZE];
    const json_t *const figure = json_object_get(field_at(result, "figures"), name);
    const double most = field_number(figure, "at_most");
    if (!isfinite(most))
        return;
    table_row(table);
    table_cell(table, STYLE_PLAIN, "%s", name);
    table_cell(table, STYLE_PLAIN, "no more than %s",
               notation_value(text, sizeof text, most, DIGITS - 1, "s"));
}

/* Rows with an uncertainty. */
static void figure_rows(struct table *table, const json_t *result)
{
    static const char *const names[] = { "frequency",   "period",      "amplitude voltage",
                                         "rise time",   "fall time",   "overshoot",
                                         "pulse width", "duty factor", "harmonic distortion" };
    if (!isfinite(field_number(result, "figures.frequency.value")))
        parameter_row(table, result, "frequency", "parameters.frequency", "Hz");
    for (size_t i = 0; i < sizeof names / sizeof *names; i++) {
        figure_row(table, result, names[i]);
        bound_row(table, result, names[i]);
    }
}

/* Rows of a record that rests at two levels. */
static void pulse_rows(struct table *table, const json_t *result, const char *unit)
{
    parameter_row(table, result, "low state", "parameters.pulse.low", unit);
    parameter_row(table, result, "high state", "parameters.pulse.high", unit);
}

/* Rows of a record that is nearly a sine. */
static void sine_rows(struct table *table, const json_t *result, const char *unit)
{
    parameter_row(table, result, "fitted sine", "parameters.sine.amplitude", unit);
    parameter_row(table, result, "residual, rms", "parameters.sine.residual", unit);
}

/* Why there are no figures of a period, where the daemon says so. */
static void print_reason(const struct session *session, const json_t *result)
{
    const char *const reason = field_text(result, "parameters.reason");
    if (reason != NULL)
        terminal_print(session->terminal, stdout, "No period: %s.\n", reason);
}

static void print_parameters(const struct session *session, const struct record *record)
{
    static const struct table_column columns[] = {
        { "", ALIGN_LEFT }, { "", ALIGN_RIGHT }, { "", ALIGN_LEFT }, { NULL, ALIGN_LEFT }
    };
    const json_t *const result = record->result;
    struct table *const table = table_new(columns);
    parameter_row(table, result, "mean", "parameters.mean", record->unit);
    parameter_row(table, result, "rms", "parameters.rms", record->unit);
    parameter_row(table, result, "ac rms", "parameters.ac_rms", record->unit);
    parameter_row(table, result, "maximum", "parameters.maximum", record->unit);
    parameter_row(table, result, "minimum", "parameters.minimum", record->unit);
    parameter_row(table, result, "peak to peak", "parameters.peak_to_peak", record->unit);
    noise_row(table, record);
    periods_row(table, result);
    pulse_rows(table, result, record->unit);
    sine_rows(table, result, record->unit);
    figure_rows(table, result);
    table_print(table, session->terminal, stdout);
    table_free(table);
    print_reason(session, result);
    terminal_print(
        session->terminal, stdout,
        "What is without ± carries no uncertainty; gradus measure gives a value with one.\n");
}

/* Where the middle of the screen lies; nothing where that is zero or not known. */
static void print_shifts(const struct session *session, const json_t *range)
{
    char text[READING_TEXT];
    const double offset = field_number(range, "offset");
    const double position = field_number(range, "position");
    if (isfinite(offset) && offset != 0) {
        terminal_print(session->terminal, stdout, ", offset %s at the input",
                       reading_setting(offset, "V", text));
    }
    if (isfinite(position) && position != 0) {
        terminal_print(session->terminal, stdout, ", zero trace %s %s the centre at the input",
                       reading_setting(fabs(position), "V", text),
                       position < 0 ? "below" : "above");
    }
}

static void print_scale(const struct session *session, const struct record *record)
{
    char range[READING_TEXT];
    const json_t *const result = record->result;
    reading_range_text(field_at(result, "range"), record->unit, range);
    terminal_print(session->terminal, stdout, "scale: %s at the tip, coupling %s", range,
                   field_text_or_empty(result, "range.coupling"));
    print_shifts(session, field_at(result, "range"));
    terminal_print(session->terminal, stdout, "\nprobe %s, instrument %s, %s\n",
                   field_text_or_empty(result, "probe.name"),
                   field_text_or_empty(result, "instrument.name"),
                   field_text_or_empty(result, "time"));
}

/* A waveform may be there although the point's own reading could not be had from it. */
static int judge(const struct session *session, const struct record *record)
{
    const json_t *const data = field_at(record->result, "failure");
    if (data == NULL)
        return STATUS_PASS;
    struct fault fault;
    json_t *const error = json_pack("{s:O}", "data", data);
    fault_from_error(&fault, error);
    json_decref(error);
    fault_explain(&fault, session->operands[0], session->terminal);
    return fault.status;
}

static int show(const struct session *session, json_t *result)
{
    struct fault fault;
    struct record record;
    if (!record_take(&record, result, &fault)) {
        fault_explain(&fault, session->operands[0], session->terminal);
        return fault.status;
    }
    if (session->options->csv) {
        print_csv(&record);
    } else {
        print_heading(session, &record);
        print_trigger(session, &record);
        print_plot(session, &record);
        print_scale(session, &record);
        print_parameters(session, &record);
        reading_warnings(session, session->operands[0], result);
    }
    free(record.samples);
    return judge(session, &record);
}

static int run_capture(const struct session *session)
{
    const struct options *const options = session->options;
    const char *const point = session->operands[0];
    json_t *const params = json_pack("{s:s, s:i, s:o}", "point", point, "samples",
                                     options->samples > 0 ? options->samples : ALL_SAMPLES,
                                     "deadline_ms", ask_number(options->deadline_ms));
    if (isfinite(options->duration))
        json_object_set_new(params, "duration", ask_number(options->duration));
    if (!job_option(session, params)) {
        json_decref(params);
        return STATUS_USAGE;
    }
    double within_ms = options->deadline_ms;
    if (options->when != NULL) {
        json_object_set_new(params, "when", json_string(options->when));
        json_object_set_new(params, "wait_s", ask_number(options->wait));
        within_ms += options->wait * 1000;
    }
    if (isfinite(options->before))
        json_object_set_new(params, "before", ask_number(options->before));
    if (isfinite(options->after))
        json_object_set_new(params, "after", ask_number(options->after));
    return ask(session, point, "capture", params, within_ms, show);
}

const struct command command_capture = {
    .name = "capture",
    .arguments = "POINT",
    .summary = "capture a waveform and draw it with its scale",
    .usage = "Captures one record at a point that hangs on a scope, draws it (every column from\n"
             "its smallest to its largest sample, so that narrow spikes show) and lists what it\n"
             "says. All values are at the tip. With --csv: time and value of each sample.\n"
             "With --when it waits until the signal at the tip passes a level, keeps what was\n"
             "before, and checks that the record shows it; nothing within --wait is no reading.\n",
    .options = OPTION_WHEN | OPTION_BEFORE | OPTION_AFTER | OPTION_WAIT | OPTION_SETTINGS |
               OPTION_DURATION | OPTION_SAMPLES | OPTION_DEADLINE | OPTION_ASCII | OPTION_JOB |
               OPTION_SERIAL | OPTION_STAGE,
    .least = 1,
    .most = 1,
    .run = run_capture,
};
