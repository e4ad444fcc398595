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

static const char *time_of(const struct job_sheet *sheet, size_t index)
{
    return field_text_or_empty(json_array_get(sheet->items, index), "time");
}

/* "2026-01-31 23:59:59 UTC" of a time on the wire. */
static const char *moment_of(const char *time, char text[48])
{
    if (strlen(time) < strlen("2026-01-31T23:59:59") || time[10] != 'T')
        snprintf(text, 48, "%.40s", time);
    else
        snprintf(text, 48, "%.10s %.8s UTC", time, time + 11);
    return text;
}

void job_facts(const struct job_sheet *sheet,
               void (*each)(void *context, const char *what, const char *text), void *context)
{
    static const char *const members[][2] = { { "customer", "Customer" },
                                              { "unit", "Unit" },
                                              { "serial", "Serial number" },
                                              { "measured_by", "Measured by" } };
    const char *name;
    json_t *value;
    char moment[48];
    for (size_t i = 0; i < sizeof members / sizeof *members; i++)
        if (field_text_or_empty(sheet->about, members[i][0])[0] != '\0')
            each(context, members[i][1], field_text(sheet->about, members[i][0]));
    each(context, "First reading", moment_of(time_of(sheet, 0), moment));
    each(context, "Last reading",
         moment_of(time_of(sheet, json_array_size(sheet->items) - 1), moment));
    json_object_foreach(json_object_get(sheet->about, "fields"), name, value)
    {
        if (json_is_string(value))
            each(context, name, json_string_value(value));
    }
    if (field_text_or_empty(sheet->about, "remarks")[0] != '\0')
        each(context, "Remarks", field_text(sheet->about, "remarks"));
}

void job_instruments(const struct job_sheet *sheet,
                     void (*each)(void *context, const json_t *instrument), void *context)
{
    json_t *const seen = json_array();
    for (size_t i = 0; i < json_array_size(sheet->items); i++) {
        json_t *const reading = json_object_get(json_array_get(sheet->items, i), "reading");
        json_t *const instrument = json_object_get(reading, "instrument");
        bool known = instrument == NULL;
        for (size_t j = 0; !known && j < json_array_size(seen); j++)
            known = json_equal(json_array_get(seen, j), instrument) == 1;
        if (known)
            continue;
        json_array_append(seen, instrument);
        each(context, instrument);
    }
    json_decref(seen);
}

const char *job_limits(const struct job_line *line, char *text)
{
    const json_t *reading = field_at(line->after, "reading");
    if (reading == NULL)
        reading = field_at(line->before, "reading");
    return reading_limits_text(field_at(reading, "limits"), field_text_or_empty(reading, "unit"),
                               text);
}

const char job_readings_note[] = "Each value with its expanded uncertainty, about 95 % coverage; a "
                                 "verdict takes it into account.";

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
