/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "order.h"

#include "core/basics/utf8.h"

#include <string.h>

enum { NAME_MOST = 63, TEXT_MOST = 400, FIELDS_MOST = 32 };

static bool is_text(const json_t *value, size_t most)
{
    return json_is_string(value) && json_string_length(value) > 0 &&
           json_string_length(value) <= most && utf8_printable(json_string_value(value));
}

static bool wrong(struct failure *failure, const char *member, const char *expected)
{
    return failure_set(failure, FAILURE_SETTINGS, NULL, expected, "the job's %.60s is not usable",
                       member);
}

static bool check_fields(json_t *fields, struct failure *failure)
{
    const char *name;
    json_t *value;
    if (!json_is_object(fields) || json_object_size(fields) > FIELDS_MOST)
        return wrong(failure, "fields", "an object of 32 texts at most");
    json_object_foreach(fields, name, value)
    {
        if (!is_text(value, TEXT_MOST) || !utf8_printable(name))
            return wrong(failure, name, "a printable text of 1 to 400 bytes");
    }
    return true;
}

static bool check_stage(const json_t *value, struct failure *failure)
{
    const char *text = json_string_value(value);
    return (text != NULL && (strcmp(text, "before") == 0 || strcmp(text, "after") == 0)) ||
           wrong(failure, "stage", "\"before\" or \"after\" the repair");
}

static bool check_member(const char *name, json_t *value, struct failure *failure)
{
    static const char *const texts[] = { "unit", "serial", "customer", "measured_by", "remarks" };
    if (strcmp(name, "name") == 0)
        return is_text(value, NAME_MOST) ||
               wrong(failure, name, "a printable text of 1 to 63 bytes");
    if (strcmp(name, "stage") == 0)
        return check_stage(value, failure);
    if (strcmp(name, "fields") == 0)
        return check_fields(value, failure);
    for (size_t i = 0; i < sizeof texts / sizeof *texts; i++)
        if (strcmp(name, texts[i]) == 0)
            return is_text(value, TEXT_MOST) ||
                   wrong(failure, name, "a printable text of 1 to 400 bytes");
    return failure_set(failure, FAILURE_SETTINGS, NULL,
                       "name, unit, serial, customer, measured_by, stage, remarks or fields",
                       "a job has no %.60s", name);
}

static bool check_serials(const json_t *list, struct failure *failure)
{
    bool good = json_is_array(list);
    for (size_t i = 0; good && i < json_array_size(list); i++)
        good = is_text(json_array_get(list, i), TEXT_MOST);
    return good || wrong(failure, "serials", "a list of printable texts of 1 to 400 bytes");
}

char *order_read(json_t *object, bool many, struct failure *failure)
{
    const char *name;
    json_t *value;
    if (json_object_get(object, "name") == NULL) {
        failure_set(failure, FAILURE_SETTINGS, NULL, "name", "the job has no name");
        return NULL;
    }
    json_object_foreach(object, name, value)
    {
        bool serials = many && strcmp(name, "serials") == 0;
        if (serials ? !check_serials(value, failure) : !check_member(name, value, failure))
            return NULL;
    }
    char *text = json_dumps(object, JSON_COMPACT | JSON_SORT_KEYS);
    if (text == NULL)
        failure_no_memory(failure, "the job");
    return text;
}
