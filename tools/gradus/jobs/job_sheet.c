/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "job_sheet.h"

#include "core/basics/notation.h"
#include "tools/gradus/answers/ask.h"
#include "tools/gradus/answers/reading.h"
#include "tools/gradus/basics/field.h"
#include "tools/gradus/basics/memory.h"
#include "tools/gradus/basics/status.h"

#include <stdlib.h>
#include <string.h>

enum { PAGE = 1000 };

/* What an item says of its job, whether it is a reading or came to none. */
static json_t *job_of(const json_t *item)
{
    json_t *const job = json_object_get(json_object_get(item, "reading"), "job");
    return job != NULL ? job : json_object_get(json_object_get(item, "error"), "job");
}

/* One page of readings behind `after`; false with the fault filled in. */
static bool fetch_page(struct client *client, const char *name, json_int_t *after, json_t *items,
                       bool *more, struct fault *fault)
{
    struct message answer = { 0 };
    json_t *const params =
        json_pack("{s:s, s:I, s:i}", "job", name, "after", *after, "limit", PAGE);
    if (!client_call(client, "readings", params, ASK_PLAIN_MS + ASK_GRACE_MS, &answer, fault))
        return false;
    json_t *const page = json_object_get(json_object_get(answer.json, "result"), "readings");
    const size_t count = json_array_size(page);
    *more = count > 0 && field_true(answer.json, "result.more");
    json_array_extend(items, page);
    if (count > 0)
        *after = json_integer_value(json_object_get(json_array_get(page, count - 1), "id"));
    message_clear(&answer);
    return true;
}

static bool fetch_shop(struct client *client, json_t **shop, struct fault *fault)
{
    struct message answer = { 0 };
    if (!client_call(client, "jobs", json_object(), ASK_PLAIN_MS + ASK_GRACE_MS, &answer, fault))
        return false;
    *shop = json_incref(json_object_get(json_object_get(answer.json, "result"), "shop"));
    message_clear(&answer);
    return true;
}

static struct job_line *line_of(struct job_sheet *sheet, const char *point, const char *serial)
{
    for (size_t i = 0; i < sheet->line_count; i++)
        if (strcmp(sheet->lines[i].point, point) == 0 &&
            strcmp(sheet->lines[i].serial, serial) == 0)
            return &sheet->lines[i];
    sheet->lines = memory_resize(sheet->lines, sheet->line_count + 1, sizeof *sheet->lines);
    sheet->lines[sheet->line_count] = (struct job_line) { .point = point, .serial = serial };
    return &sheet->lines[sheet->line_count++];
}

/* The newest reading of each stage stands; what was said last of the job holds. */
static void sort_out(struct job_sheet *sheet)
{
    sheet->about = json_object();
    for (size_t i = 0; i < json_array_size(sheet->items); i++) {
        const json_t *const item = json_array_get(sheet->items, i);
        json_t *const job = json_copy(job_of(item));
        struct job_line *const line = line_of(sheet, field_text_or_empty(item, "point"),
                                              field_text_or_empty(job_of(item), "serial"));
        if (strcmp(field_text_or_empty(job, "stage"), "before") == 0)
            line->before = item;
        else
            line->after = item;
        json_object_update(sheet->about, job);
        json_decref(job);
    }
    json_object_del(sheet->about, "stage");
}

bool job_sheet_fetch(struct client *client, const char *name, struct job_sheet *sheet,
                     struct fault *fault)
{
    json_int_t after = 0;
    bool more = true;
    *sheet = (struct job_sheet) { .items = json_array() };
    while (more)
        if (!fetch_page(client, name, &after, sheet->items, &more, fault))
            return false;
    if (!fetch_shop(client, &sheet->shop, fault))
        return false;
    if (json_array_size(sheet->items) == 0) {
        fault_set(fault, STATUS_USAGE, "unknown job",
                  "no reading of a job \"%.64s\" is kept; gradus "
                  "jobs lists those that are",
                  name);
        return false;
    }
    sort_out(sheet);
    return true;
}

void job_sheet_free(struct job_sheet *sheet)
{
    json_decref(sheet->items);
    json_decref(sheet->about);
    json_decref(sheet->shop);
    free(sheet->lines);
    *sheet = (struct job_sheet) { 0 };
}

int job_sheet_status(const struct job_sheet *sheet)
{
    int status = STATUS_PASS;
    for (size_t i = 0; i < sheet->line_count; i++) {
        const json_t *const item = sheet->lines[i].after;
        const json_t *const reading = field_at(item, "reading");
        if (item != NULL)
            status =
                status_worse(status, reading != NULL ? reading_status(reading) : STATUS_NO_READING);
    }
    return status;
}

const char *job_value(const json_t *item, int digits, char *text, size_t size)
{
    const json_t *const reading = field_at(item, "reading");
    text[0] = '\0';
    if (reading != NULL)
        notation_result(text, size, field_number(reading, "value"),
                        field_number(reading, "uncertainty"), digits,
                        field_text_or_empty(reading, "unit"));
    else if (item != NULL)
        snprintf(text, size, "%s", field_text_or_empty(item, "error.message"));
    return text;
}

const char *job_verdict(const json_t *item)
{
    if (item == NULL)
        return "";
    return field_at(item, "reading") != NULL ? field_text_or_empty(item, "reading.verdict")
                                             : "no reading";
}
