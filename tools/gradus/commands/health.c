/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "tools/gradus/answers/ask.h"
#include "tools/gradus/answers/csv.h"
#include "tools/gradus/basics/field.h"
#include "tools/gradus/basics/span.h"
#include "tools/gradus/basics/status.h"
#include "tools/gradus/screen/table.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* Writes a plain value; an object becomes "name value, name value". */
static void write_value(FILE *stream, json_t *value)
{
    char number[CSV_NUMBER_SIZE];
    const char *name;
    json_t *member;
    const char *before = "";
    if (json_is_string(value))
        fputs(json_string_value(value), stream);
    else if (json_is_number(value))
        fputs(csv_number(number, json_number_value(value)), stream);
    else if (json_is_boolean(value))
        fputs(json_is_true(value) ? "yes" : "no", stream);
    json_object_foreach(value, name, member)
    {
        fprintf(stream, "%s%s ", before, name);
        if (!json_is_object(member))
            write_value(stream, member);
        before = ", ";
    }
}

/* The value as text; free with free(). NULL when memory is short. */
static char *value_text(json_t *value)
{
    char *text = NULL;
    size_t size = 0;
    FILE *const stream = open_memstream(&text, &size);
    if (stream == NULL)
        return NULL;
    write_value(stream, value);
    if (fclose(stream) != 0) {
        free(text);
        return NULL;
    }
    return text;
}

static void print_csv_row(const char *name, const char *text)
{
    csv_field(stdout, name);
    fputc(',', stdout);
    csv_field(stdout, text);
    fputs("\r\n", stdout);
}

/* A row for people: the name in words, a time up in days, hours, minutes and seconds. */
static void add_row(struct table *table, const char *name, const json_t *value, const char *text)
{
    const bool up = strcmp(name, "uptime_s") == 0 && json_is_number(value);
    char words[64];
    char time[64];
    snprintf(words, sizeof words, "%s", up ? "uptime" : name);
    for (char *at = strchr(words, '_'); at != NULL; at = strchr(at, '_'))
        *at = ' ';
    if (up)
        span_text((long)fmin(fmax(json_number_value(value), 0), 1e15), time, sizeof time);
    table_row(table);
    table_cell(table, STYLE_PLAIN, "%s", words);
    table_cell(table, STYLE_PLAIN, "%s", up ? time : text);
}

static void show_members(const struct session *session, json_t *result, struct table *table)
{
    const char *name;
    json_t *value;
    json_object_foreach(result, name, value)
    {
        char *const text = value_text(value);
        if (session->options->csv)
            print_csv_row(name, text == NULL ? "" : text);
        else
            add_row(table, name, value, text == NULL ? "" : text);
        free(text);
    }
}

static int show(const struct session *session, json_t *result)
{
    static const struct table_column columns[] = { { "", ALIGN_LEFT },
                                                   { "", ALIGN_LEFT },
                                                   { NULL, ALIGN_LEFT } };
    if (!json_is_object(result)) {
        struct fault fault;
        ask_senseless(&fault, "an object");
        fault_explain(&fault, NULL, session->terminal);
        return fault.status;
    }
    struct table *const table = table_new(columns);
    if (session->options->csv)
        print_csv_row("name", "value");
    show_members(session, result, table);
    if (!session->options->csv)
        table_print(table, session->terminal, stdout);
    table_free(table);
    return STATUS_PASS;
}

static int run_health(const struct session *session)
{
    return ask(session, NULL, "health", json_object(), ASK_PLAIN_MS, show);
}

const struct command command_health = {
    .name = "health",
    .arguments = "",
    .summary = "show the state of the daemon",
    .usage = "Version, uptime, settings file, clients, counters and queues of the daemon.\n",
    .run = run_health,
};
