/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "report_form.h"
#include "tools/gradus/answers/ask.h"
#include "tools/gradus/basics/field.h"
#include "tools/gradus/commands/readings_csv.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { PAGE_MOST = 1000 };

/*
 * A spreadsheet takes a text that begins so for a formula and runs it. An
 * apostrophe before it says that it is a text.
 */
static bool is_formula(const char *text)
{
    return text != NULL && text[0] != '\0' && strchr("=+-@\t\r\n", text[0]) != NULL;
}

static json_t *harmless(const char *text)
{
    char *quoted = NULL;
    if (asprintf(&quoted, "'%s", text) < 0)
        return NULL;
    json_t *string = json_string(quoted);
    free(quoted);
    return string;
}

static void disarm_list(json_t *list)
{
    size_t index;
    json_t *value;
    json_array_foreach(list, index, value)
    {
        if (is_formula(json_string_value(value)))
            json_array_set_new(list, index, harmless(json_string_value(value)));
    }
}

void report_csv_disarm(json_t *object)
{
    const char *key;
    json_t *value;
    void *next;
    json_object_foreach_safe(object, next, key, value)
    {
        if (json_is_object(value))
            report_csv_disarm(value);
        else if (json_is_array(value))
            disarm_list(value);
        else if (is_formula(json_string_value(value)))
            json_object_set_new(object, key, harmless(json_string_value(value)));
    }
}

static void write_item(const json_t *item, const struct csv_column *columns, FILE *out)
{
    json_t *record = readings_csv_object(item);
    report_csv_disarm(record);
    csv_record(out, columns, record);
    json_decref(record);
}

/* Writes a page; the id of its last reading, or 0 when there are no more. -1 with the fault filled in. */
static json_int_t write_page(const char *run, json_int_t after, struct client *client,
                             const struct csv_column *columns, FILE *out, struct fault *fault)
{
    struct message answer = { 0 };
    json_t *params = json_pack("{s:s, s:I, s:i}", "run", run, "after", after, "limit", PAGE_MOST);
    json_int_t last = -1;
    if (client_call(client, "readings", params, ASK_PLAIN_MS + ASK_GRACE_MS, &answer, fault)) {
        const json_t *page = field_at(answer.json, "result.readings");
        size_t index;
        json_t *item;
        last = 0;
        json_array_foreach(page, index, item)
        {
            write_item(item, columns, out);
            last = json_integer_value(json_object_get(item, "id"));
        }
        last = field_true(answer.json, "result.more") ? last : 0;
    }
    message_clear(&answer);
    return last;
}

bool report_csv(const char *run, struct client *client, FILE *out, struct fault *fault)
{
    struct csv_column *columns = readings_csv_columns();
    json_int_t after = 0;
    csv_header(out, columns);
    do {
        after = write_page(run, after, client, columns, out, fault);
    } while (after > 0);
    free(columns);
    return after == 0;
}
