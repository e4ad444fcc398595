/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Limits from the readings of good units, and another unit beside them. */
#include "learn.h"

#include "core/basics/notation.h"
#include "tools/gradus/answers/ask.h"
#include "tools/gradus/answers/job_option.h"
#include "tools/gradus/answers/output.h"
#include "tools/gradus/basics/field.h"
#include "tools/gradus/basics/status.h"
#include "tools/gradus/screen/table.h"

#include <math.h>
#include <string.h>

static const struct table_column columns[] = {
    { "point", ALIGN_LEFT },    { "value", ALIGN_RIGHT },         { "good ones", ALIGN_RIGHT },
    { "spreads", ALIGN_RIGHT }, { "uncertainties", ALIGN_RIGHT }, { "like them", ALIGN_LEFT },
    { NULL, ALIGN_LEFT },
};

/* Whether a unit is like the good ones at a point, in a word, and its exit status. */
static const char *likeness(const json_t *point, int *status)
{
    const json_t *const compared = json_object_get(point, "compared");
    const json_t *const inside = json_object_get(compared, "inside");
    const double apart = fabs(field_number(compared, "uncertainties"));
    *status = STATUS_NO_READING;
    if (compared == NULL)
        return "no reading";
    *status = STATUS_UNDECIDED;
    if (inside == NULL)
        return "no limits";
    if (json_is_true(inside)) {
        *status = STATUS_PASS;
        return "yes";
    }
    if (!(apart > 1))
        return "unsure";
    *status = STATUS_FAIL;
    return "no";
}

static void cell_number(struct table *table, double number)
{
    if (isfinite(number))
        table_cell(table, STYLE_PLAIN, "%+.1f", number);
    else
        table_cell(table, STYLE_PLAIN, "%s", "");
}

static void compare_row(struct table *table, const json_t *point, const char *word, int status,
                        int digits)
{
    const json_t *const compared = json_object_get(point, "compared");
    const char *const unit = field_text_or_empty(point, "unit");
    char value[NOTATION_SIZE] = "", middle[NOTATION_SIZE] = "";
    if (compared != NULL)
        notation_result(value, sizeof value, field_number(compared, "value"),
                        field_number(compared, "uncertainty"), digits, unit);
    if (field_number(point, "units") > 0)
        notation_result(middle, sizeof middle, field_number(point, "mean"),
                        field_number(point, "uncertainty"), digits, unit);
    char *const spread = strstr(middle, " ±");
    if (spread != NULL) /* the unit's own uncertainty is what the line has room for */
        *spread = '\0';
    table_row(table);
    table_cell(table, STYLE_PLAIN, "%s", field_text_or_empty(point, "point"));
    table_cell(table, STYLE_PLAIN, "%s", value);
    table_cell(table, STYLE_PLAIN, "%s", middle);
    cell_number(table, field_number(compared, "spreads"));
    cell_number(table, field_number(compared, "uncertainties"));
    table_cell(table, status == STATUS_PASS ? STYLE_PLAIN : STYLE_BAD, "%s", word);
}

static int show_compared(const struct session *session, const json_t *result)
{
    const json_t *const points = json_object_get(result, "points");
    struct table *const table = table_new(columns);
    int worst = STATUS_PASS, status;
    for (size_t i = 0; i < json_array_size(points); i++) {
        const json_t *const point = json_array_get(points, i);
        const char *const word = likeness(point, &status);
        compare_row(table, point, word, status, session->options->digits);
        worst = status_worse(worst, status);
    }
    if (!session->options->json)
        table_print(table, session->terminal, stdout);
    table_free(table);
    return worst;
}

/* Every point has limits, or the proposal is not whole. */
static int show_limits(const json_t *result)
{
    const json_t *const points = json_object_get(result, "points");
    for (size_t i = 0; i < json_array_size(points); i++)
        if (!learn_has_limits(json_array_get(points, i)))
            return STATUS_UNDECIDED;
    return STATUS_PASS;
}

/* The serial numbers behind the sheet and in --serials. NULL when that cannot be read, which is told. */
static json_t *good_units(const struct session *session)
{
    json_t *const units = json_array();
    for (int i = 1; i < session->operand_count; i++)
        json_array_append_new(units, json_string(session->operands[i]));
    if (session->options->serials != NULL && !job_serials_read(session, units)) {
        json_decref(units);
        return NULL;
    }
    if (json_array_size(units) > 0)
        return units;
    terminal_complain(
        session->terminal,
        "which units are good has to be said: gradus learn %s SERIAL..., or --serials "
        "FILE",
        session->operands[0]);
    json_decref(units);
    return NULL;
}

static bool write_file(const struct session *session, const json_t *result, const json_t *units,
                       struct fault *fault)
{
    struct output output;
    if (!output_open(&output, session->options->write, fault))
        return false;
    learn_write(result, units, output.stream);
    return output_close(&output, true, fault);
}

static int show(const struct session *session, const struct message *answer, const json_t *units,
                struct fault *fault)
{
    const struct options *const options = session->options;
    const json_t *const result = json_object_get(answer->json, "result");
    if (options->json)
        ask_print_member(answer, "result");
    if (options->compare != NULL)
        return show_compared(session, result);
    if (options->write != NULL && !write_file(session, result, units, fault))
        return fault->status;
    if (options->write == NULL && !options->json)
        learn_write(result, units, stdout);
    return show_limits(result);
}

static int learn(const struct session *session, json_t *units)
{
    const struct options *const options = session->options;
    struct message answer = { 0 };
    struct fault fault = { 0 };
    json_t *const params =
        json_pack("{s:s, s:O, s:f, s:f}", "sheet", session->operands[0], "good", units, "coverage",
                  options->coverage / 100, "confidence", options->confidence / 100);
    if (options->compare != NULL)
        json_object_set_new(params, "compare", json_string(options->compare));
    int status;
    struct client *const client = client_open(options, &fault);
    if (client == NULL)
        json_decref(params);
    const bool answered =
        client != NULL &&
        client_call(client, "learn", params, ASK_PLAIN_MS + ASK_GRACE_MS, &answer, &fault);
    status = answered ? show(session, &answer, units, &fault) : fault.status;
    if (fault.status != STATUS_PASS)
        fault_explain(&fault, session->operands[0], session->terminal);
    message_clear(&answer);
    client_close(client);
    return status;
}

static int run_learn(const struct session *session)
{
    if (session->options->csv) {
        terminal_complain(session->terminal, "--csv does not go with learn; --json does");
        return STATUS_USAGE;
    }
    json_t *const units = good_units(session);
    if (units == NULL)
        return STATUS_USAGE;
    const int status = learn(session, units);
    json_decref(units);
    return status;
}

const struct command command_learn = {
    .name = "learn",
    .arguments = "SHEET SERIAL...",
    .summary = "propose limits from the readings of good units",
    .usage =
        "Whoever names a unit by its serial number says that it is good; no verdict does. Of each\n"
        "the newest reading of every point of the sheet counts, as walk, measure or a burn-in "
        "took\n"
        "it with --job and --serial (not one before a repair). Limits are proposed from them as\n"
        "tolerance intervals, two-sided, or one-sided where the point has one limit only, and\n"
        "printed as lines to be pasted into the points of the settings; nothing uses them before.\n"
        "Fewer than 8 units have none; values that are not normal need more, and it is said how\n"
        "many. --compare shows another unit beside them, point by point: how far from their\n"
        "middle in their spreads and in the uncertainties of both, and whether it is within.\n"
        "The exit status is 4 where a point has no limits, 1 where a unit is not like them.\n",
    .options = OPTION_SERIALS | OPTION_COMPARE | OPTION_COVERAGE | OPTION_SURENESS | OPTION_WRITE,
    .least = 1,
    .most = -1,
    .run = run_learn,
};
