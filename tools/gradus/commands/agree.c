/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "tools/gradus/answers/outcome.h"
#include "tools/gradus/answers/reading.h"
#include "tools/gradus/basics/field.h"
#include "tools/gradus/basics/status.h"

#include "core/basics/notation.h"

#include <math.h>

static const struct csv_column csv_columns[] = {
    { "en", "en" },
    { "agree", "agree" },
    { "correlation", "correlation" },
    { "difference", "difference.value" },
    { "difference_uncertainty", "difference.uncertainty" },
    { "unit", "difference.unit" },
    { NULL, NULL },
};

/* Both readings can be shown, and what was found about them is there. */
static bool whole(const json_t *result, struct fault *fault)
{
    const json_t *const readings = field_at(result, "readings");
    if (json_array_size(readings) != 2 || !isfinite(field_number(result, "en")) ||
        !json_is_boolean(field_at(result, "agree")) ||
        field_text(result, "difference.unit") == NULL) {
        ask_senseless(fault, "two readings, their En number and whether they agree");
        return false;
    }
    return reading_check(json_array_get(readings, 0), fault) &&
           reading_check(json_array_get(readings, 1), fault);
}

static void print_people(const struct session *session, const json_t *result)
{
    char difference[NOTATION_SIZE];
    const json_t *const readings = field_at(result, "readings");
    struct table *const table = table_new(reading_table_columns);
    for (size_t i = 0; i < 2; i++)
        reading_row(table, json_array_get(readings, i), session->options->digits);
    table_print(table, session->terminal, stdout);
    table_free(table);
    notation_result(difference, sizeof difference, field_number(result, "difference.value"),
                    field_number(result, "difference.uncertainty"), session->options->digits,
                    field_text_or_empty(result, "difference.unit"));
    terminal_print(session->terminal, stdout, "\nDifference %s, En = %.2f: they %s.\n", difference,
                   field_number(result, "en"),
                   field_true(result, "agree") ? "agree" : "do not agree");
    for (size_t i = 0; i < 2; i++) {
        const json_t *const reading = json_array_get(readings, i);
        reading_warnings(session, field_text(reading, "point"), reading);
    }
}

static int status_of(const json_t *result)
{
    return field_true(result, "agree") ? STATUS_PASS : STATUS_FAIL;
}

static const struct outcome outcome = {
    .whole = whole, .columns = csv_columns, .print = print_people, .status = status_of
};

static int show(const struct session *session, json_t *result)
{
    return outcome_show(session, result, &outcome);
}

/* POINT, FIRST SECOND, or POINT and two instruments: their number tells which. */
static json_t *params_of(const struct session *session)
{
    char *const *const words = session->operands;
    switch (session->operand_count) {
    case 1:
        return json_pack("{s:s}", "point", words[0]);
    case 2:
        return json_pack("{s:s, s:s}", "first", words[0], "second", words[1]);
    default:
        return json_pack("{s:s, s:[s, s]}", "point", words[0], "instruments", words[1], words[2]);
    }
}

static int run_agree(const struct session *session)
{
    return outcome_ask(session, "agree", params_of(session), show);
}

const struct command command_agree = {
    .name = "agree",
    .arguments = "POINT [INSTRUMENT INSTRUMENT] | FIRST SECOND",
    .summary = "say whether two instruments agree about a point",
    .usage = "Measures a point that can be measured in several ways in the two best of them, or\n"
             "with the two instruments named; or two points that are the same place. Prints both\n"
             "readings, their difference with its uncertainty, and the En number: up to 1 they\n"
             "agree. The status is 0 when they agree and 1 when they do not.\n",
    .options = OPTION_DEADLINE,
    .least = 1,
    .most = 3,
    .run = run_agree,
};
