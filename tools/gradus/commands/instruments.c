/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "program.h"
#include "tools/gradus/answers/ask.h"
#include "tools/gradus/answers/list.h"
#include "tools/gradus/basics/field.h"
#include "tools/gradus/basics/memory.h"
#include "tools/gradus/basics/status.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static const struct csv_column csv_columns[] = {
    { "instrument", "name" },
    { "kind", "kind" },
    { "state", "state" },
    { "identity", "identity" },
    { "profile", "profile" },
    { "link", "link" },
    { "calibration_due", "calibration_due" },
    { "last_heard_s", "last_heard_s" },
    { "queue", "queue" },
    { "queries", "counters.queries" },
    { "timeouts", "counters.timeouts" },
    { "unexpected", "counters.unexpected" },
    { "resynchronised", "counters.resynchronised" },
    { "opened", "counters.opened" },
    { "reason", "failure.reason" },
    { "what", "failure.what" },
    { "note", "note" },
    { NULL, NULL },
};

static const struct table_column columns[] = {
    { "instrument", ALIGN_LEFT },      { "kind", ALIGN_LEFT },   { "state", ALIGN_LEFT },
    { "heard", ALIGN_RIGHT },          { "queue", ALIGN_RIGHT }, { "identity", ALIGN_LEFT },
    { "calibration due", ALIGN_LEFT }, { "link", ALIGN_LEFT },   { NULL, ALIGN_LEFT }
};

static enum style state_style(const char *state)
{
    if (strcmp(state, "down") == 0)
        return STYLE_BAD;
    return strcmp(state, "new") == 0 ? STYLE_DOUBT : STYLE_PLAIN;
}

/* An age for people: seconds, minutes or hours, whichever is below a hundred or so. */
static void age_cell(struct table *table, double seconds)
{
    if (!isfinite(seconds))
        table_cell(table, STYLE_PLAIN, "never");
    else if (seconds < 100)
        table_cell(table, STYLE_PLAIN, "%.0f s ago", seconds);
    else if (seconds < 6000)
        table_cell(table, STYLE_PLAIN, "%.0f min ago", seconds / 60);
    else
        table_cell(table, STYLE_PLAIN, "%.0f h ago", seconds / 3600);
}

static void row(struct table *table, const json_t *instrument)
{
    const char *const state = field_text_or_empty(instrument, "state");
    const double queue = field_number(instrument, "queue");
    table_cell(table, STYLE_PLAIN, "%s", field_text_or_empty(instrument, "name"));
    table_cell(table, STYLE_PLAIN, "%s", field_text_or_empty(instrument, "kind"));
    table_cell(table, state_style(state), "%s", state);
    age_cell(table, field_number(instrument, "last_heard_s"));
    if (isfinite(queue))
        table_cell(table, STYLE_PLAIN, "%.0f", queue);
    else
        table_skip(table);
    table_cell(table, STYLE_PLAIN, "%s", field_text_or_empty(instrument, "identity"));
    table_cell(table, STYLE_PLAIN, "%s", field_text_or_empty(instrument, "calibration_due"));
    table_cell(table, STYLE_PLAIN, "%s", field_text_or_empty(instrument, "link"));
}

/* Why it is down, and what could be better about its link. */
static void notes(const struct session *session, const json_t *instrument)
{
    const json_t *const data = field_at(instrument, "failure");
    const char *const note = field_text_or_empty(instrument, "note");
    if (note[0] != '\0') {
        terminal_print(session->terminal, stdout, "%s: %s\n",
                       field_text_or_empty(instrument, "name"), note);
    }
    if (data == NULL)
        return;
    char detail[1024];
    struct fault fault;
    json_t *const error = json_pack("{s:O}", "data", data);
    fault_from_error(&fault, error);
    json_decref(error);
    terminal_print(session->terminal, stdout, "%s: %s: %s\n",
                   field_text_or_empty(instrument, "name"), fault.reason,
                   fault_detail(&fault, detail, sizeof detail));
}

static int show(const struct session *session, json_t *result)
{
    static const struct list list = { "a list of instruments",
                                      "no instruments in the settings; gradus instruments --scan "
                                      "shows what is plugged in",
                                      csv_columns,
                                      columns,
                                      row,
                                      notes };
    return list_show(session, result, &list);
}

static void append(char **words, size_t *count, const char *option, const char *value)
{
    words[(*count)++] = memory_text(option);
    if (value != NULL)
        words[(*count)++] = memory_text(value);
}

/* The daemon's program knows links and profiles; it needs no running daemon for this. */
static int scan(const struct session *session)
{
    const struct options *const options = session->options;
    char *words[2 * OPTIONS_MOST_LINKS + 10] = { NULL };
    size_t count = 0;
    if (options->json)
        append(words, &count, "--json", NULL);
    if (options->line != NULL)
        append(words, &count, "--line", options->line);
    if (options->profiles != NULL)
        append(words, &count, "--profiles", options->profiles);
    if (options->write != NULL)
        append(words, &count, "--write", options->write);
    for (int i = 0; i < options->identify_count; i++)
        append(words, &count, "--identify", options->identify[i]);
    const int status = program_become_with(session, "--scan", words);
    for (size_t i = 0; i < count; i++)
        free(words[i]);
    return status;
}

static int run_instruments(const struct session *session)
{
    const struct options *const options = session->options;
    if (options->scan && options->csv) {
        terminal_complain(session->terminal, "--csv does not go with --scan");
        return STATUS_USAGE;
    }
    if (options->scan)
        return scan(session);
    if ((options->given & (OPTION_IDENTIFY | OPTION_LINE | OPTION_PROFILES | OPTION_WRITE)) != 0) {
        terminal_complain(session->terminal,
                          "--identify, --line, --profiles and --write go with --scan");
        return STATUS_USAGE;
    }
    return ask(session, NULL, "instruments", json_object(), ASK_PLAIN_MS, show);
}

const struct command command_instruments = {
    .name = "instruments",
    .arguments = "",
    .summary = "list the instruments and their state",
    .usage =
        "Lists every instrument: state (idle, busy, down, or new while nothing was asked of\n"
        "it), when it was last heard, how many requests wait, identity, calibration due date\n"
        "and link. Why one is down, and what could be better about a link, stands below\n"
        "the table.\n"
        "With --scan it lists the serial ports and USBTMC devices of this machine instead,\n"
        "each with a group for the settings file. Nothing is sent to any of them but to\n"
        "those that --identify names, and none that is in use is touched. With --write FILE a\n"
        "settings file is made of those that answered and have a profile; USB instruments are\n"
        "asked then without being named. A file that is there is left as it is. All this is by\n"
        "gradusd --scan, looked for beside gradus, in ../sbin, ../libexec and PATH.\n"
        "Exit status of --scan: 0 well, 2 usage, 3 one that was asked did not answer.\n",
    .options = OPTION_SCAN | OPTION_IDENTIFY | OPTION_LINE | OPTION_PROFILES | OPTION_WRITE,
    .run = run_instruments,
};
