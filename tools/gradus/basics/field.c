/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "field.h"

#include <math.h>
#include <string.h>

const json_t *field_at(const json_t *object, const char *path)
{
    while (object != NULL) {
        char name[64];
        const size_t length = strcspn(path, ".");
        if (length >= sizeof name)
            return NULL;
        memcpy(name, path, length);
        name[length] = '\0';
        object = json_object_get(object, name);
        if (path[length] == '\0')
            break;
        path += length + 1;
    }
    return object;
}

const char *field_text(const json_t *object, const char *path)
{
    return json_string_value(field_at(object, path));
}

const char *field_text_or_empty(const json_t *object, const char *path)
{
    const char *const text = field_text(object, path);
    return text == NULL ? "" : text;
}

double field_number(const json_t *object, const char *path)
{
    const json_t *const value = field_at(object, path);
    return json_is_number(value) ? json_number_value(value) : (double)NAN;
}

bool field_true(const json_t *object, const char *path)
{
    return json_is_true(field_at(object, path));
}
