/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "body.h"

#include <math.h>

const char *body_text(const json_t *body, const char *key)
{
    const char *text = json_string_value(json_object_get(body, key));
    return text != NULL ? text : "";
}

double body_number(const json_t *body, const char *key)
{
    const json_t *number = json_object_get(body, key);
    return json_is_number(number) ? json_number_value(number) : (double)NAN;
}

int64_t body_integer(const json_t *body, const char *key)
{
    return (int64_t)json_integer_value(json_object_get(body, key));
}
