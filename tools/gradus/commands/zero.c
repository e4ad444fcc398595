/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "tools/gradus/answers/outcome.h"
#include "tools/gradus/basics/field.h"
#include "tools/gradus/basics/status.h"

#include "core/basics/notation.h"

#include <math.h>

static const struct csv_column csv_columns[] = {
    { "point", "point" }, { "probe", "probe" },          { "instrument", "instrument" },
    { "input", "input" }, { "resistance_ohm", "value" }, { "uncertainty_ohm", "uncertainty" },
    { NULL, NULL },
};

static void print_people(const struct session *session, const json_t *result)
{
    char resistance[NOTATION_SIZE];
    notation_result(resistance, sizeof resistance, field_number(result, "value"),
                    field_number(result, "uncertainty"), session->options->digits,
                    field_text_or_empty(result, "unit"));
    terminal_print(session->terminal, stdout,
                   "%s: the leads have %s.\nThat is taken off what is read through probe %s at "
                   "input %.0f of %s for the next %.0f s.\n",
                   field_text_or_empty(result, "point"), resistance,
                   field_text_or_empty(result, "probe"), field_number(result, "input"),
                   field_text_or_empty(result, "instrument"), field_number(result, "holds_s"));
}

static bool whole(const json_t *result, struct fault *fault)
{
    const bool there =
        isfinite(field_number(result, "value")) && isfinite(field_number(result, "uncertainty"));
    if (!there)
        ask_senseless(fault, "a resistance with its uncertainty");
    return there;
}

static const struct outcome outcome = { .whole = whole,
                                        .columns = csv_columns,
                                        .print = print_people };

static int show(const struct session *session, json_t *result)
{
    return outcome_show(session, result, &outcome);
}

static int run_zero(const struct session *session)
{
    json_t *const params = json_pack("{s:s}", "point", session->operands[0]);
    return outcome_ask(session, "zero", params, show);
}

const struct command command_zero = {
    .name = "zero",
    .arguments = "POINT",
    .summary = "measure the shorted leads of a resistance",
    .usage =
        "Short the leads of the point at their tips first. Reads their resistance, which is\n"
        "then taken off what is read through the same probe at the same input, for as long as\n"
        "the settings say (lead_zero_s). What cannot be shorted leads is refused, and the zero\n"
        "before it stays.\n",
    .options = OPTION_DEADLINE,
    .least = 1,
    .most = 1,
    .run = run_zero,
};
