/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "follow.h"
#include "tools/gradus/answers/ask.h"
#include "tools/gradus/answers/job_option.h"
#include "tools/gradus/answers/reading.h"
#include "tools/gradus/basics/field.h"
#include "tools/gradus/basics/status.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { NAME_SIZE = 200 };

/* Takes the whole text as a decimal number. */
static bool whole_number(const char *text, size_t length, double *number)
{
    char copy[64];
    char *end;
    if (length == 0 || length >= sizeof copy || strcspn(text, "xXnNiI") < length)
        return false;
    memcpy(copy, text, length);
    copy[length] = '\0';
    *number = strtod(copy, &end);
    return *end == '\0' && isfinite(*number);
}

/* One bound of "LOW:HIGH", which may be left out. */
static bool set_bound(json_t *limits, const char *key, const char *text, size_t length)
{
    double number;
    if (length == 0)
        return true;
    if (!whole_number(text, length, &number))
        return false;
    json_object_set_new(limits, key, ask_number(number));
    return true;
}

/* "5%": around what is expected. */
static bool set_percent(json_t *limits, const char *text, size_t length,
                        const struct options *options)
{
    double percent;
    if (!isfinite(options->expected) || !whole_number(text, length - 1, &percent))
        return false;
    json_object_set_new(limits, "nominal", ask_number(options->expected));
    json_object_set_new(limits, "tolerance_percent", ask_number(percent));
    return true;
}

/* Limits as they are written in the settings; NULL, and it has been said, where they are none. */
static json_t *read_limits(const struct session *session)
{
    const char *const text = session->options->limits;
    const char *const colon = strchr(text, ':');
    const size_t length = strlen(text);
    const bool percent = length > 1 && text[length - 1] == '%';
    json_t *const limits = json_object();
    const bool good =
        percent ? set_percent(limits, text, length, session->options)
                : colon != NULL && length > 1 &&
                      set_bound(limits, "low", text, (size_t)(colon - text)) &&
                      set_bound(limits, "high", colon + 1, length - (size_t)(colon + 1 - text));
    if (good)
        return limits;
    terminal_complain(session->terminal,
                      "--limits: \"%s\", expected LOW:HIGH, LOW:, :HIGH, or N%% with --expect",
                      text);
    json_decref(limits);
    return NULL;
}

/* "KEY=VALUE" as a key of a point: a number, true, false, or a text. */
static bool add_with(const struct session *session, json_t *keys, const char *text)
{
    const char *const equals = strchr(text, '=');
    char key[64];
    double number;
    json_t *value;
    if (equals == NULL || equals == text || (size_t)(equals - text) >= sizeof key) {
        terminal_complain(session->terminal,
                          "--with: \"%s\", expected KEY=VALUE, a key of a point in the settings",
                          text);
        return false;
    }
    snprintf(key, sizeof key, "%.*s", (int)(equals - text), text);
    if (whole_number(equals + 1, strlen(equals + 1), &number))
        value = ask_number(number);
    else if (strcmp(equals + 1, "true") == 0 || strcmp(equals + 1, "false") == 0)
        value = json_boolean(equals[1] == 't');
    else
        value = json_string(equals + 1);
    return json_object_set_new(keys, key, value) == 0;
}

/* What the options say of the point beyond where it is; NULL, and it has been said, on a mistake. */
static json_t *more_keys(const struct session *session)
{
    const struct options *const options = session->options;
    json_t *const keys = json_object();
    bool good = true;
    if (isfinite(options->expected))
        json_object_set_new(keys, "expected", ask_number(options->expected));
    if (options->limits != NULL) {
        json_t *const limits = read_limits(session);
        good = limits != NULL && json_object_set_new(keys, "limits", limits) == 0;
    }
    for (int i = 0; good && i < options->with_count; i++)
        good = add_with(session, keys, options->with[i]);
    if (good)
        return keys;
    json_decref(keys);
    return NULL;
}

static int show(const struct session *session, json_t *result)
{
    const struct options *const options = session->options;
    struct fault fault = { 0 };
    if (!reading_check(result, &fault)) {
        fault_explain(&fault, NULL, session->terminal);
        return fault.status;
    }
    const char *const point = field_text(result, "point");
    if (options->csv) {
        csv_header(stdout, reading_csv_columns);
        reading_csv(result);
    } else if (!options->json) {
        struct table *const table = table_new(reading_table_columns);
        reading_row(table, result, options->digits);
        table_print(table, session->terminal, stdout);
        table_free(table);
        reading_warnings(session, point, result);
    }
    return reading_status(result);
}

static int read_once(const struct session *session, json_t *place, json_t *more, const char *name)
{
    const struct options *const options = session->options;
    json_object_set_new(place, "more", more);
    if (!job_option(session, place)) {
        json_decref(place);
        return STATUS_USAGE;
    }
    json_object_set_new(place, "repeat", json_integer(options->repeat));
    json_object_set_new(place, "deadline_ms", ask_number(options->deadline_ms));
    return ask_judged(session, name, "read", place, options->deadline_ms, show);
}

static int run_read(const struct session *session)
{
    const struct options *const options = session->options;
    double input;
    char name[NAME_SIZE];
    const char *const *const words = (const char *const *)session->operands;
    if (!whole_number(words[1], strlen(words[1]), &input) || input != floor(input)) {
        terminal_complain(session->terminal, "\"%s\" is not an input, expected a number from 1 on",
                          words[1]);
        return STATUS_USAGE;
    }
    json_t *const more = more_keys(session);
    if (more == NULL)
        return STATUS_USAGE;
    json_t *const place = json_pack("{s:s, s:o, s:s, s:s}", "instrument", words[0], "input",
                                    ask_number(input), "quantity", words[2], "probe",
                                    options->probe != NULL ? options->probe : "direct");
    snprintf(name, sizeof name, "%s/%.0f/%s", words[0], input, words[2]);
    if (place == NULL || !options->follow)
        return read_once(session, place, more, name);
    json_object_update(place, more);
    json_decref(more);
    return follow_place(session, place, name);
}

const struct command command_read = {
    .name = "read",
    .arguments = "INSTRUMENT INPUT QUANTITY",
    .summary = "measure what hangs on an input, named by no point",
    .usage = "One settled reading as of a point: gradus read meter 1 \"dc voltage\". All that\n"
             "holds for points of the settings holds for it: ratings, probe, uncertainty, limits.\n"
             "It is kept under the name INSTRUMENT/INPUT/QUANTITY; gradus readings finds it.\n"
             "gradusd --keys lists the quantities and the keys that --with takes. With --follow\n"
             "it is measured again and again, as by gradus follow.\n",
    .options = OPTION_PROBE | OPTION_EXPECT | OPTION_LIMITS | OPTION_WITH | OPTION_FOLLOW |
               OPTION_REPEAT | OPTION_DEADLINE | OPTION_EVERY | OPTION_COUNT | OPTION_SETTINGS |
               OPTION_JOB | OPTION_SERIAL | OPTION_STAGE,
    .least = 3,
    .most = 3,
    .run = run_read,
};
