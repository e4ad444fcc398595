/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "tools/gradus/answers/ask.h"
#include "tools/gradus/answers/csv.h"
#include "tools/gradus/answers/list.h"
#include "tools/gradus/answers/reading.h"
#include "tools/gradus/basics/field.h"
#include "tools/gradus/basics/span.h"
#include "tools/gradus/basics/status.h"

static const struct csv_column csv_columns[] = {
    { "point", "name" },
    { "quantity", "quantity" },
    { "unit", "unit" },
    { "instrument", "instrument" },
    { "input", "input" },
    { "probe", "probe" },
    { "expected", "expected" },
    { "limit_low", "limits.low" },
    { "limit_high", "limits.high" },
    { "decision", "limits.decision" },
    { "caution", "caution" },
    { NULL, NULL },
};

static const struct table_column columns[] = {
    { "point", ALIGN_LEFT },  { "quantity", ALIGN_LEFT },   { "expected", ALIGN_RIGHT },
    { "limits", ALIGN_LEFT }, { "instrument", ALIGN_LEFT }, { "input", ALIGN_RIGHT },
    { "probe", ALIGN_LEFT },  { NULL, ALIGN_LEFT }
};

static void row(struct table *table, const json_t *point)
{
    char text[READING_TEXT];
    const char *const unit = field_text_or_empty(point, "unit");
    table_cell(table, STYLE_PLAIN, "%s", field_text_or_empty(point, "name"));
    table_cell(table, STYLE_PLAIN, "%s", field_text_or_empty(point, "quantity"));
    table_cell(table, STYLE_PLAIN, "%s",
               reading_setting(field_number(point, "expected"), unit, text));
    table_cell(table, STYLE_PLAIN, "%s",
               reading_limits_text(field_at(point, "limits"), unit, text));
    table_cell(table, STYLE_PLAIN, "%s", field_text_or_empty(point, "instrument"));
    table_cell(table, STYLE_PLAIN, "%.0f", field_number(point, "input"));
    table_cell(table, STYLE_PLAIN, "%s", field_text_or_empty(point, "probe"));
}

/* Which reading a point is compared with. */
static void note_reference(const struct session *session, const json_t *point)
{
    char value[READING_TEXT], age[32];
    const json_t *const reference = json_object_get(point, "reference");
    if (reference == NULL)
        return;
    if (json_object_get(reference, "id") == NULL) {
        terminal_print(session->terminal, stdout,
                       "%s: no reference: no reading of %s that serves was in the store when the "
                       "settings took effect\n",
                       field_text_or_empty(point, "name"), field_text_or_empty(reference, "point"));
        return;
    }
    terminal_print(session->terminal, stdout,
                   "%s: reference: reading %.0f of %s, %s, verdict %s, %s old\n",
                   field_text_or_empty(point, "name"), field_number(reference, "id"),
                   field_text_or_empty(reference, "point"),
                   reading_setting(field_number(reference, "value"),
                                   field_text_or_empty(point, "unit"), value),
                   field_text_or_empty(reference, "verdict"),
                   span_text((long)field_number(reference, "age_s"), age, sizeof age));
}

static void notes(const struct session *session, const json_t *point)
{
    const char *const caution = field_text(point, "caution");
    if (caution != NULL) {
        terminal_print(session->terminal, stdout, "%s: caution: %s\n",
                       field_text_or_empty(point, "name"), caution);
    }
    note_reference(session, point);
}

static int show(const struct session *session, json_t *result)
{
    static const struct list list = {
        "a list of points", "no points in the settings", csv_columns, columns, row, notes
    };
    return list_show(session, result, &list);
}

static int run_points(const struct session *session)
{
    return ask(session, NULL, "points", json_object(), ASK_PLAIN_MS, show);
}

const struct command command_points = {
    .name = "points",
    .arguments = "",
    .summary = "list the test points",
    .usage = "Lists every point with its quantity, expected value, limits, instrument and probe.\n"
             "Cautions, and which kept readings points are compared with, stand below the table.\n",
    .options = OPTION_SETTINGS,
    .run = run_points,
};
