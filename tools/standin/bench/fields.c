/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "fields.h"

#include "tools/standin/circuit/source.h"

#include <math.h>
#include <string.h>

static bool read_number(const struct field *field, json_t *value, double *number,
                        struct problem *problem)
{
    if (!json_is_number(value) || !isfinite(json_number_value(value)))
        return problem_tell(problem, "%s: expected a number", field->key);
    *number = json_number_value(value);
    return true;
}

static bool read_text(const struct field *field, json_t *value, char *text, struct problem *problem)
{
    const char *given = json_string_value(value);

    if (given == NULL || given[0] == '\0' || strlen(given) >= field->size) {
        return problem_tell(problem, "%s: expected a text of 1 to %zu characters", field->key,
                            field->size - 1);
    }
    memcpy(text, given, strlen(given) + 1);
    return true;
}

static bool read_word(const struct field *field, json_t *value, int *word, struct problem *problem)
{
    const char *given = json_string_value(value);

    for (int i = 0; given != NULL && field->words[i] != NULL; i++) {
        if (strcmp(given, field->words[i]) == 0) {
            *word = i;
            return true;
        }
    }
    return problem_tell(problem, "%s: expected one of \"%s\", ...", field->key, field->words[0]);
}

static bool read_steps(const struct field *field, json_t *value, struct source *source,
                       struct problem *problem)
{
    size_t count = json_array_size(value);

    if (!json_is_array(value) || count > SOURCE_STEPS) {
        return problem_tell(problem, "%s: expected at most %d pairs [after, change]", field->key,
                            SOURCE_STEPS);
    }
    for (size_t i = 0; i < count; i++) {
        json_t *pair = json_array_get(value, i);

        if (json_array_size(pair) != 2 ||
            !read_number(field, json_array_get(pair, 0), &source->steps[i].after, problem) ||
            !read_number(field, json_array_get(pair, 1), &source->steps[i].change, problem))
            return problem_tell(problem, "%s: entry %zu is no pair [after, change]", field->key, i);
    }
    source->step_count = count;
    return true;
}

static bool read_field(const struct field *field, json_t *value, void *target,
                       struct problem *problem)
{
    void *place = (char *)target + field->offset;

    switch (field->type) {
    case FIELD_NUMBER:
        return read_number(field, value, place, problem);
    case FIELD_TEXT:
        return read_text(field, value, place, problem);
    case FIELD_WORD:
        return read_word(field, value, place, problem);
    case FIELD_STEPS:
        return read_steps(field, value, place, problem);
    case FIELD_FLAG:
        break;
    }
    if (!json_is_boolean(value))
        return problem_tell(problem, "%s: expected true or false", field->key);
    *(bool *)place = json_is_true(value);
    return true;
}

bool fields_read(json_t *object, const struct field *fields, size_t count, unsigned kind_bit,
                 void *target, struct problem *problem)
{
    void *at = json_object_iter(object);

    for (; at != NULL; at = json_object_iter_next(object, at)) {
        const char *key = json_object_iter_key(at);
        const struct field *found = NULL;

        for (size_t i = 0; i < count; i++)
            if (strcmp(fields[i].key, key) == 0)
                found = &fields[i];
        if (found == NULL)
            return problem_tell(problem, "unknown field \"%s\"", key);
        if (found->only != 0 && (found->only & kind_bit) == 0)
            return problem_tell(problem, "%s: not a field of this kind", key);
        if (!read_field(found, json_object_iter_value(at), target, problem))
            return false;
    }
    return true;
}
