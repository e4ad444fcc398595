/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "tools/gradus/answers/ask.h"
#include "tools/gradus/answers/command.h"
#include "tools/gradus/basics/field.h"
#include "tools/gradus/basics/status.h"
#include "tools/gradus/screen/table.h"

#include <string.h>

static const char statuses[] =
    "Exit status (the worst of several readings, in the order 2, 3, 1, 4, 0):\n"
    "  0  all pass, or there is no limit\n"
    "  1  a limit failed\n"
    "  2  usage or settings\n"
    "  3  no reading, no daemon, or the output could not be written\n"
    "  4  not decidable within the uncertainty: conditional pass or conditional fail\n";

static const struct table_column columns[] = { { "", ALIGN_LEFT },
                                               { "", ALIGN_LEFT },
                                               { NULL, ALIGN_LEFT } };

/* One row an option; further lines of its help stand below the first. */
static void option_rows(struct table *table, const struct option_row *row)
{
    const char *line = row->help;
    table_row(table);
    table_cell(table, STYLE_PLAIN, "  %s%s%s", row->name, row->argument == NULL ? "" : " ",
               row->argument == NULL ? "" : row->argument);
    for (;;) {
        const size_t length = strcspn(line, "\n");
        table_cell(table, STYLE_PLAIN, "%.*s", (int)length, line);
        if (line[length] == '\0')
            return;
        line += length + 1;
        table_row(table);
        table_skip(table);
    }
}

static void print_options(const struct session *session, uint64_t wanted)
{
    struct table *const table = table_new(columns);
    for (const struct option_row *row = options_table(); row->name != NULL; row++)
        if ((row->bit & wanted) != 0)
            option_rows(table, row);
    table_print(table, session->terminal, stdout);
    table_free(table);
}

static int print_overview(const struct session *session)
{
    struct table *const table = table_new(columns);
    fputs("usage: gradus [OPTION...] SUBCOMMAND [ARGUMENT...]\n\n", stdout);
    for (const struct command *const *at = session->commands; *at != NULL; at++) {
        table_row(table);
        table_cell(table, STYLE_PLAIN, "  %s", (*at)->name);
        table_cell(table, STYLE_PLAIN, "%s", (*at)->summary);
    }
    table_print(table, session->terminal, stdout);
    table_free(table);
    fputs("\nOptions, before or after the subcommand:\n", stdout);
    print_options(session, OPTIONS_GLOBAL);
    fputs("\n", stdout);
    fputs(statuses, stdout);
    fputs("\nSee gradus help SUBCOMMAND for more.\n", stdout);
    return STATUS_PASS;
}

static int print_usage(const struct session *session, const struct command *command)
{
    printf("usage: gradus %s%s%s\n\n%s", command->name, command->arguments[0] == '\0' ? "" : " ",
           command->arguments, command->usage);
    if (command->passes_on)
        return STATUS_PASS;
    if (command->options != 0) {
        fputs("\nOptions:\n", stdout);
        print_options(session, command->options);
    }
    fputs("\nOptions of every subcommand:\n", stdout);
    print_options(session, OPTIONS_GLOBAL);
    return STATUS_PASS;
}

/* A method, and each of its parameters with what it has to be. */
static void print_method(const json_t *method)
{
    size_t i;
    const json_t *each;
    printf("%s: %s\n", field_text(method, "method"), field_text(method, "help"));
    json_array_foreach(json_object_get(method, "parameters"), i, each)
    {
        printf("    %s%s: %s; %s\n", field_text(each, "name"),
               json_is_true(json_object_get(each, "required")) ? "" : " (may be left out)",
               field_text(each, "help"), field_text(each, "expected"));
    }
    printf("    answers: %s\n    role: %s\n", field_text(method, "result"),
           field_text_or_empty(method, "role"));
}

static int show_methods(const struct session *session, json_t *result)
{
    const char *const wanted = session->operands[1];
    bool found = wanted == NULL;
    size_t i;
    const json_t *method;
    json_array_foreach(result, i, method)
    {
        if (wanted == NULL || strcmp(wanted, field_text(method, "method")) == 0) {
            print_method(method);
            found = true;
        }
    }
    if (!found) {
        terminal_complain(session->terminal, "\"%s\" is not a method; see gradus help methods",
                          wanted);
    }
    return found ? STATUS_PASS : STATUS_USAGE;
}

static int run_help(const struct session *session)
{
    if (session->operand_count == 0)
        return print_overview(session);
    const char *const name = session->operands[0];
    if (strcmp(name, "methods") == 0)
        return ask(session, NULL, "methods", json_object(), ASK_PLAIN_MS, show_methods);
    const struct command *const command = command_find(session->commands, name);
    if (command == NULL) {
        terminal_complain(session->terminal, "\"%s\" is not a subcommand; see gradus help", name);
        return STATUS_USAGE;
    }
    return print_usage(session, command);
}

const struct command command_help = {
    .name = "help",
    .arguments = "[SUBCOMMAND | methods [METHOD]]",
    .summary = "say how the command is used",
    .usage =
        "Without a name: what there is. With one: its arguments and options. \"methods\" asks the\n"
        "daemon what programs can ask over its socket, with parameters and answers.\n",
    .most = 2,
    .run = run_help,
};
