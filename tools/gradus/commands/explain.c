/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "tools/gradus/answers/ask.h"
#include "tools/gradus/answers/csv.h"
#include "tools/gradus/answers/reading.h"
#include "tools/gradus/basics/field.h"
#include "tools/gradus/basics/status.h"
#include "tools/gradus/screen/table.h"

#include "core/basics/notation.h"

#include <math.h>

static const struct csv_column csv_columns[] = {
    { "range_at_tip", "at_tip" },
    { "unit", "unit" },
    { "volts_per_division", "volts_per_division" },
    { "coupling", "coupling" },
    { "offset", "offset" },
    { "position", "position" },
    { "fits", "fits" },
    { "uncertainty", "uncertainty" },
    { "input_resistance_ohm", "input_resistance" },
    { "loading_error", "loading_error" },
    { "chosen", "chosen" },
    { "note", "note" },
    { NULL, NULL },
};

static const struct table_column columns[] = {
    { "", ALIGN_LEFT },         { "range", ALIGN_RIGHT },      { "coupling", ALIGN_LEFT },
    { "offset", ALIGN_RIGHT },  { "position", ALIGN_RIGHT },   { "step", ALIGN_RIGHT },
    { "fits", ALIGN_LEFT },     { "uncertainty", ALIGN_LEFT }, { "input", ALIGN_RIGHT },
    { "loading", ALIGN_RIGHT }, { "note", ALIGN_LEFT },        { NULL, ALIGN_LEFT }
};

/* Predictions are worth two digits and a few, no more. */
static void number_cell(struct table *table, const char *before, double value, int digits,
                        const char *unit)
{
    char text[NOTATION_SIZE];
    if (!isfinite(value)) {
        table_skip(table);
        return;
    }
    table_cell(table, STYLE_PLAIN, "%s%s", before,
               notation_value(text, sizeof text, value, digits, unit));
}

/* Zero is left empty: a column that says nothing is left out. */
static void setting_cell(struct table *table, double value, const char *unit)
{
    char text[READING_TEXT];
    table_cell(table, STYLE_PLAIN, "%s", value == 0 ? "" : reading_setting(value, unit, text));
}

/* What could not be seen in a million readings is as good as none. */
static void loading_cell(struct table *table, double error, double step, const char *unit)
{
    const bool seen = !(fabs(error) < step * 1e-6);
    number_cell(table, "", seen ? error : (double)NAN, 2, unit);
}

static void candidate_row(struct table *table, const json_t *candidate, const char *unit,
                          bool chosen)
{
    char text[READING_TEXT];
    const bool fits = field_true(candidate, "fits");
    const double to_tip = field_number(candidate, "at_tip") / field_number(candidate, "full_scale");
    const double step = field_number(candidate, "resolution") * to_tip;
    table_row(table);
    table_cell(table, STYLE_GOOD, "%s", chosen ? "*" : "");
    table_cell(table, STYLE_PLAIN, "%s", reading_range_text(candidate, unit, text));
    table_cell(table, STYLE_PLAIN, "%s", field_text_or_empty(candidate, "coupling"));
    setting_cell(table, field_number(candidate, "offset"), "V");
    setting_cell(table, field_number(candidate, "position"), "V");
    number_cell(table, "", step, 3, unit);
    table_cell(table, fits ? STYLE_PLAIN : STYLE_FAINT, "%s", fits ? "yes" : "no");
    number_cell(table, "± ", field_number(candidate, "uncertainty"), 2, unit);
    setting_cell(table, field_number(candidate, "input_resistance"), "Ω");
    loading_cell(table, field_number(candidate, "loading_error"), step, unit);
    table_cell(table, STYLE_PLAIN, "%s", field_text_or_empty(candidate, "note"));
}

static void print_heading(const struct session *session, const json_t *result, const char *unit)
{
    char text[NOTATION_SIZE];
    const double value = field_number(result, "signal.value");
    const char *const source = field_text(result, "signal.source");
    terminal_print(session->terminal, stdout, "%s, %s. ", field_text_or_empty(result, "point"),
                   field_text_or_empty(result, "quantity"));
    if (isfinite(value)) {
        terminal_print(session->terminal, stdout, "Signal: %s (%s).\n\n",
                       notation_value(text, sizeof text, value, 4, unit),
                       source == NULL ? "source not stated" : source);
    } else {
        terminal_print(session->terminal, stdout, "Nothing is known of the signal yet.\n\n");
    }
}

static void print_reasons(const struct session *session, const json_t *lines)
{
    for (size_t i = 0; i < json_array_size(lines); i++) {
        const char *const line = json_string_value(json_array_get(lines, i));
        terminal_print(session->terminal, stdout, "%s%s\n", i == 0 ? "\n" : "",
                       line == NULL ? "" : line);
    }
}

/* The index of the candidate that was chosen; -1 where there is none. */
static json_int_t chosen_index(const json_t *result)
{
    const json_t *const chosen = field_at(result, "chosen");
    return json_is_integer(chosen) ? json_integer_value(chosen) : -1;
}

static void print_people(const struct session *session, const json_t *result,
                         const json_t *candidates)
{
    const char *const unit = field_text_or_empty(result, "unit");
    struct table *const table = table_new(columns);
    for (size_t i = 0; i < json_array_size(candidates); i++) {
        candidate_row(table, json_array_get(candidates, i), unit,
                      (json_int_t)i == chosen_index(result));
    }
    print_heading(session, result, unit);
    table_print(table, session->terminal, stdout);
    print_reasons(session, field_at(result, "text"));
    table_free(table);
}

static void print_csv(const json_t *result, const json_t *candidates)
{
    csv_header(stdout, csv_columns);
    for (size_t i = 0; i < json_array_size(candidates); i++) {
        json_t *const record = json_copy(json_array_get(candidates, i));
        json_object_set_new(record, "unit", json_string(field_text_or_empty(result, "unit")));
        json_object_set_new(record, "chosen", json_boolean((json_int_t)i == chosen_index(result)));
        csv_record(stdout, csv_columns, record);
        json_decref(record);
    }
}

static int show(const struct session *session, json_t *result)
{
    const json_t *const candidates = field_at(result, "candidates");
    if (!json_is_array(candidates) || field_text(result, "unit") == NULL) {
        struct fault fault;
        ask_senseless(&fault, "candidates and their unit");
        fault_explain(&fault, session->operands[0], session->terminal);
        return fault.status;
    }
    if (session->options->csv)
        print_csv(result, candidates);
    else
        print_people(session, result, candidates);
    return STATUS_PASS;
}

static int run_explain(const struct session *session)
{
    const char *const point = session->operands[0];
    return ask(session, point, "explain", json_pack("{s:s}", "point", point), ASK_PLAIN_MS, show);
}

const struct command command_explain = {
    .name = "explain",
    .arguments = "POINT",
    .summary = "show why a range is chosen for a point",
    .usage = "Lists every range the point could be measured in: what it spans at the tip, one\n"
             "step of the display or converter at the tip, whether the signal fits, the expanded\n"
             "uncertainty to be expected, input resistance and what it does to the point.\n"
             "The chosen one is marked with *, and the reasons stand below.\n",
    .options = OPTION_SETTINGS,
    .least = 1,
    .most = 1,
    .run = run_explain,
};
