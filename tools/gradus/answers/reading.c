/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "reading.h"

#include "ask.h"
#include "core/basics/notation.h"
#include "tools/gradus/basics/field.h"
#include "tools/gradus/basics/status.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

const struct table_column reading_table_columns[] = {
    { "point", ALIGN_LEFT },  { "value", ALIGN_RIGHT },     { "uncertainty", ALIGN_LEFT },
    { "k", ALIGN_RIGHT },     { "verdict", ALIGN_LEFT },    { "limits", ALIGN_LEFT },
    { "range", ALIGN_RIGHT }, { "instrument", ALIGN_LEFT }, { NULL, ALIGN_LEFT }
};

const struct csv_column reading_csv_columns[] = {
    { "point", "point" },
    { "quantity", "quantity" },
    { "value", "value" },
    { "uncertainty", "uncertainty" },
    { "unit", "unit" },
    { "standard_uncertainty", "standard_uncertainty" },
    { "coverage_factor", "coverage_factor" },
    { "degrees_of_freedom", "degrees_of_freedom" },
    { "coverage_method", "coverage_method" },
    { "verdict", "verdict" },
    { "limit_low", "limits.low" },
    { "limit_high", "limits.high" },
    { "decision", "limits.decision" },
    { "conformity_probability", "conformity_probability" },
    { "test_uncertainty_ratio", "test_uncertainty_ratio" },
    { "compared_by", "comparison.judge" },
    { "compared_value", "comparison.value" },
    { "compared_uncertainty", "comparison.uncertainty" },
    { "time", "time" },
    { "sequence", "sequence" },
    { "instrument", "instrument.name" },
    { "input", "input" },
    { "probe", "probe.name" },
    { "range_at_tip", "range.at_tip" },
    { "repeats", "repeats" },
    { "loading_error", "loading.error" },
    { "loading_corrected", "loading.corrected" },
    { "warnings", "warnings" },
    { "reason", "reason" },
    { "what", "what" },
    { NULL, NULL },
};

bool reading_check(const json_t *reading, struct fault *fault)
{
    const char *const verdict = field_text(reading, "verdict");
    const bool complete = field_text(reading, "point") != NULL &&
                          isfinite(field_number(reading, "value")) &&
                          field_text(reading, "unit") != NULL && verdict != NULL;
    if (!complete) {
        ask_senseless(fault, "a reading with point, value, unit and verdict");
        return false;
    }
    if (status_of_verdict(verdict) == STATUS_NO_READING) {
        ask_senseless(fault, "one of the verdicts: none, pass, conditional pass, conditional fail, "
                             "fail");
        return false;
    }
    return true;
}

char *reading_setting(double value, const char *unit, char text[READING_TEXT])
{
    text[0] = '\0';
    if (isfinite(value)) {
        char digits[32];
        snprintf(digits, sizeof digits, "%.7g", value);
        notation_plain(text, READING_TEXT, strtod(digits, NULL), unit);
    }
    return text;
}

char *reading_range_text(const json_t *range, const char *unit, char text[READING_TEXT])
{
    const double full_scale = field_number(range, "full_scale");
    const double at_tip = field_number(range, "at_tip");
    const double division = field_number(range, "volts_per_division");
    const char *const own = field_text(range, "unit"); /* of a range for another quantity */
    unit = own != NULL ? own : unit;
    if (isfinite(division) && full_scale > 0) {
        reading_setting(division * (at_tip / full_scale), unit, text);
        if (text[0] != '\0')
            strncat(text, "/div", READING_TEXT - strlen(text) - 1);
        return text;
    }
    return reading_setting(at_tip, unit, text);
}

/* "4.75 V" before "5.25 V" becomes "4.75". */
static void drop_shared_unit(char *first, const char *second)
{
    char *const unit = strchr(first, ' ');
    const char *const other = strchr(second, ' ');
    if (unit != NULL && other != NULL && strcmp(unit, other) == 0)
        *unit = '\0';
}

char *reading_limits_text(const json_t *limits, const char *unit, char text[READING_TEXT])
{
    char low[READING_TEXT];
    char high[READING_TEXT];
    reading_setting(field_number(limits, "low"), unit, low);
    reading_setting(field_number(limits, "high"), unit, high);
    text[0] = '\0';
    if (low[0] != '\0' && high[0] != '\0') {
        drop_shared_unit(low, high);
        snprintf(text, READING_TEXT, "%.50s to %.50s", low, high);
    } else if (low[0] != '\0') {
        snprintf(text, READING_TEXT, "≥ %.100s", low);
    } else if (high[0] != '\0') {
        snprintf(text, READING_TEXT, "≤ %.100s", high);
    }
    return text;
}

/* Value and uncertainty come as one text, so that they share prefix and last place. */
static void result_cells(struct table *table, const json_t *reading, int digits)
{
    static const char between[] = " ± ";
    char text[NOTATION_SIZE];
    notation_result(text, sizeof text, field_number(reading, "value"),
                    field_number(reading, "uncertainty"), digits, field_text(reading, "unit"));
    char *const middle = strstr(text, between);
    if (middle == NULL) {
        table_cell(table, STYLE_PLAIN, "%s", text);
        table_cell(table, STYLE_DOUBT, "not known");
        return;
    }
    *middle = '\0';
    table_cell(table, STYLE_PLAIN, "%s", text);
    table_cell(table, STYLE_PLAIN, "± %s", middle + strlen(between));
}

/* Limits of a ratio have no unit. */
static const char *limits_unit(const json_t *reading, const char *unit)
{
    return field_at(reading, "comparison") != NULL ? field_text_or_empty(reading, "comparison.unit")
                                                   : unit;
}

void reading_row(struct table *table, const json_t *reading, int digits)
{
    char text[READING_TEXT];
    const char *const unit = field_text_or_empty(reading, "unit");
    const char *const verdict = field_text_or_empty(reading, "verdict");
    const double coverage = field_number(reading, "coverage_factor");
    table_row(table);
    table_cell(table, STYLE_PLAIN, "%s", field_text_or_empty(reading, "point"));
    result_cells(table, reading, digits);
    if (isfinite(coverage))
        table_cell(table, STYLE_PLAIN, "%.2f", coverage);
    else
        table_skip(table);
    table_cell(table, terminal_verdict_style(verdict), "%s", verdict);
    table_cell(table, STYLE_PLAIN, "%s",
               reading_limits_text(field_at(reading, "limits"), limits_unit(reading, unit), text));
    table_cell(table, STYLE_PLAIN, "%s",
               reading_range_text(field_at(reading, "range"), unit, text));
    table_cell(table, STYLE_PLAIN, "%s", field_text_or_empty(reading, "instrument.name"));
}

void reading_failure_row(struct table *table, const char *point, const struct fault *fault)
{
    table_row(table);
    table_cell(table, STYLE_PLAIN, "%s", point);
    table_cell(table, STYLE_PLAIN, "-");
    table_skip(table);
    table_skip(table);
    table_cell(table, STYLE_BAD, "%s", fault->reason);
}

void reading_csv(const json_t *reading)
{
    csv_record(stdout, reading_csv_columns, reading);
}

void reading_failure_csv(const char *point, const struct fault *fault)
{
    char detail[1024];
    json_t *const record = json_object();
    json_object_set_new(record, "point", json_string(point));
    json_object_set_new(record, "reason", json_string(fault->reason));
    json_object_set_new(record, "what", json_string(fault_detail(fault, detail, sizeof detail)));
    csv_record(stdout, reading_csv_columns, record);
    json_decref(record);
}

int reading_status(const json_t *reading)
{
    const char *const verdict = field_text(reading, "verdict");
    const bool limited = field_at(reading, "limits") != NULL;
    if (limited && verdict != NULL && strcmp(verdict, "none") == 0)
        return STATUS_UNDECIDED;
    return status_of_verdict(verdict);
}

void reading_comparison(const struct session *session, const char *point, const json_t *reading)
{
    const json_t *const comparison = field_at(reading, "comparison");
    char text[NOTATION_SIZE];
    if (comparison == NULL)
        return;
    notation_result(text, sizeof text, field_number(comparison, "value"),
                    field_number(comparison, "uncertainty"), session->options->digits,
                    field_text_or_empty(comparison, "unit"));
    terminal_print(session->terminal, stdout, "%s: judged by its %s: %s\n", point,
                   field_text_or_empty(comparison, "judge"), text);
}

void reading_warnings(const struct session *session, const char *point, const json_t *reading)
{
    const json_t *const warnings = field_at(reading, "warnings");
    for (size_t i = 0; i < json_array_size(warnings); i++) {
        const char *const text = json_string_value(json_array_get(warnings, i));
        terminal_print(session->terminal, stdout, "%s: warning: %s\n", point,
                       text == NULL ? "" : text);
    }
}
