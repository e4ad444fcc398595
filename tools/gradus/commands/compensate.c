/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "tools/gradus/answers/outcome.h"
#include "tools/gradus/basics/field.h"
#include "tools/gradus/basics/status.h"

#include "core/basics/notation.h"

#include <math.h>
#include <string.h>

static const struct csv_column csv_columns[] = {
    { "point", "point" },
    { "probe", "probe" },
    { "state", "state" },
    { "ratio", "ratio" },
    { "ratio_uncertainty", "ratio_uncertainty" },
    { "time_constant_s", "time_constant" },
    { "reason", "reason" },
    { NULL, NULL },
};

static const char right[] = "compensated";

static void print_people(const struct session *session, const json_t *result)
{
    char ratio[NOTATION_SIZE];
    char tau[NOTATION_SIZE];
    const double time_constant = field_number(result, "time_constant");
    const char *const reason = field_text(result, "reason");
    if (reason != NULL) {
        terminal_print(session->terminal, stdout,
                       "%s: whether probe %s is compensated is %s: %s.\n",
                       field_text_or_empty(result, "point"), field_text_or_empty(result, "probe"),
                       field_text_or_empty(result, "state"), reason);
        return;
    }
    notation_result(ratio, sizeof ratio, field_number(result, "ratio"),
                    field_number(result, "ratio_uncertainty"), session->options->digits, "");
    terminal_print(session->terminal, stdout,
                   "%s: probe %s is %s.\nJust behind an edge it shows %s of the step",
                   field_text_or_empty(result, "point"), field_text_or_empty(result, "probe"),
                   field_text_or_empty(result, "state"), ratio);
    if (isfinite(time_constant)) {
        terminal_print(session->terminal, stdout, ", which settles with %s",
                       notation_value(tau, sizeof tau, time_constant, 3, "s"));
    }
    terminal_print(session->terminal, stdout, ".\n");
}

static bool whole(const json_t *result, struct fault *fault)
{
    const bool there =
        field_text(result, "state") != NULL && isfinite(field_number(result, "ratio"));
    if (!there)
        ask_senseless(fault, "a state and a ratio");
    return there;
}

static int status_of(const json_t *result)
{
    if (field_text(result, "reason") != NULL)
        return STATUS_UNDECIDED;
    return strcmp(field_text(result, "state"), right) == 0 ? STATUS_PASS : STATUS_FAIL;
}

static const struct outcome outcome = {
    .whole = whole, .columns = csv_columns, .print = print_people, .status = status_of
};

static int show(const struct session *session, json_t *result)
{
    return outcome_show(session, result, &outcome);
}

static int run_compensate(const struct session *session)
{
    json_t *const params = json_pack("{s:s}", "point", session->operands[0]);
    return outcome_ask(session, "compensate", params, show);
}

const struct command command_compensate = {
    .name = "compensate",
    .arguments = "POINT",
    .summary = "say whether the probe of a point is compensated",
    .usage =
        "Captures a square wave of 1 kHz or so, as scopes have for it, through the probe of\n"
        "the point, and says whether the probe is compensated for that input. The status is 0\n"
        "when it is, 1 when it is not, and 4 when the record cannot show it. The daemon remembers "
        "the "
        "outcome of the last check.\n",
    .options = OPTION_DEADLINE,
    .least = 1,
    .most = 1,
    .run = run_compensate,
};
