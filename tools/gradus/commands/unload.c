/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "tools/gradus/answers/outcome.h"
#include "tools/gradus/basics/field.h"
#include "tools/gradus/basics/status.h"
#include "tools/gradus/screen/table.h"

#include "core/basics/notation.h"

#include <math.h>

static const struct csv_column csv_columns[] = {
    { "value", "value" },
    { "unit", "unit" },
    { "uncertainty", "uncertainty" },
    { "coverage_factor", "coverage_factor" },
    { "source_resistance_ohm", "source_resistance" },
    { "source_resistance_uncertainty_ohm", "source_resistance_uncertainty" },
    { NULL, NULL },
};

static const struct table_column columns[] = {
    { "", ALIGN_LEFT }, { "load", ALIGN_RIGHT }, { "value", ALIGN_RIGHT }, { NULL, ALIGN_LEFT }
};

static void load_row(struct table *table, const char *name, const json_t *load, const char *unit)
{
    char text[NOTATION_SIZE];
    table_row(table);
    table_cell(table, STYLE_PLAIN, "%s", name);
    table_cell(table, STYLE_PLAIN, "%s",
               notation_value(text, sizeof text, field_number(load, "resistance"), 4, "Ω"));
    table_cell(table, STYLE_PLAIN, "%s",
               notation_value(text, sizeof text, field_number(load, "value"), 6, unit));
}

static void print_people(const struct session *session, const json_t *result)
{
    char value[NOTATION_SIZE];
    char source[NOTATION_SIZE];
    const int digits = session->options->digits;
    const char *const unit = field_text_or_empty(result, "unit");
    const json_t *const loads = field_at(result, "loads");
    struct table *const table = table_new(columns);
    for (int i = 0; i < 2; i++)
        load_row(table, session->operands[i], json_array_get(loads, (size_t)i), unit);
    table_print(table, session->terminal, stdout);
    table_free(table);
    notation_result(value, sizeof value, field_number(result, "value"),
                    field_number(result, "uncertainty"), digits, unit);
    notation_result(source, sizeof source, field_number(result, "source_resistance"),
                    field_number(result, "source_resistance_uncertainty"), digits, "Ω");
    terminal_print(session->terminal, stdout, "\nUnloaded %s, behind %s.\n", value, source);
}

static bool whole(const json_t *result, struct fault *fault)
{
    const bool there = isfinite(field_number(result, "value")) &&
                       field_text(result, "unit") != NULL &&
                       json_array_size(field_at(result, "loads")) == 2;
    if (!there)
        ask_senseless(fault, "a value, its unit and two loads");
    return there;
}

static const struct outcome outcome = { .whole = whole,
                                        .columns = csv_columns,
                                        .print = print_people };

static int show(const struct session *session, json_t *result)
{
    return outcome_show(session, result, &outcome);
}

static int run_unload(const struct session *session)
{
    json_t *const params =
        json_pack("{s:s, s:s}", "first", session->operands[0], "second", session->operands[1]);
    return outcome_ask(session, "unload", params, show);
}

const struct command command_unload = {
    .name = "unload",
    .arguments = "FIRST SECOND",
    .summary = "find what a place shows without a load, from two loads",
    .usage = "Measures two points that are the same place with different loads (two probes, or\n"
             "two instruments), and prints what stands there unloaded and the resistance of the\n"
             "source, each with its expanded uncertainty. For dc voltages.\n",
    .options = OPTION_DEADLINE,
    .least = 2,
    .most = 2,
    .run = run_unload,
};
