/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "command.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* Whole numbers below this are written out: a channel is 10 and not 1E+01. */
static const double largest_plain = 1e9;

/* What no instrument resolves: a tenth of a 1-2-5 step is not 1.0000000000000002E-06. */
enum { COMMAND_DIGITS = 12 };
static const double command_precision = 1e-12;

#define PLACE(name)                                                                                \
    {                                                                                              \
#name, offsetof(struct command_values, name)                                               \
    }

static const struct place {
    const char *name;
    size_t offset;
} places[] = {
    PLACE(range),          PLACE(input),
    PLACE(full_scale),     PLACE(volts_per_division),
    PLACE(offset),         PLACE(position),
    PLACE(position_volts), PLACE(duration),
    PLACE(interval),       PLACE(time_per_division),
    PLACE(points),         PLACE(trigger_level),
    PLACE(before),         PLACE(trigger_divisions),
    PLACE(before_share),   PLACE(before_divisions),
};

struct command_values command_values_none(void)
{
    struct command_values values = { NAN, NAN, NAN, NAN, NAN, NAN, NAN, NAN,
                                     NAN, NAN, NAN, NAN, NAN, NAN, NAN, NAN };
    return values;
}

/* The place that "name}" at `text` speaks of, or NULL. */
static const struct place *place_at(const char *text)
{
    size_t length = strcspn(text, "}");
    for (size_t i = 0; i < sizeof places / sizeof places[0]; i++)
        if (text[length] == '}' && strlen(places[i].name) == length &&
            memcmp(places[i].name, text, length) == 0)
            return &places[i];
    return NULL;
}

char *command_number(char *text, size_t size, double number)
{
    number += 0.0; /* a negative zero would be written with its sign */
    if (fabs(number) < largest_plain && number == rint(number)) {
        snprintf(text, size, "%.0f", number);
        return text;
    }
    for (int digits = 1; digits <= COMMAND_DIGITS; digits++) {
        snprintf(text, size, "%.*G", digits, number);
        if (fabs(strtod(text, NULL) - number) <= command_precision * fabs(number))
            break;
    }
    return text;
}

/* Appends `count` bytes and a terminator; false when they do not fit. */
static bool append(char *filled, size_t size, size_t *length, const char *bytes, size_t count)
{
    if (count >= size - *length)
        return false;
    memcpy(filled + *length, bytes, count);
    *length += count;
    filled[*length] = '\0';
    return true;
}

bool command_fill(const char *text, const struct command_values *values, char *filled, size_t size,
                  struct failure *failure)
{
    size_t length = 0;
    filled[0] = '\0';
    while (*text) {
        size_t plain = strcspn(text, "{");
        bool fits = append(filled, size, &length, text, plain);
        text += plain;
        if (fits && *text) {
            const struct place *place = place_at(text + 1);
            double value = NAN;
            if (place)
                memcpy(&value, (const char *)values + place->offset, sizeof value);
            if (!place || !isfinite(value))
                return failure_set(failure, FAILURE_SETTINGS, NULL, "a name that has a value here",
                                   "command text holds %.40s", text);
            char number[32];
            command_number(number, sizeof number, value);
            fits = append(filled, size, &length, number, strlen(number));
            text += strlen(place->name) + 2;
        }
        if (!fits)
            return failure_set(failure, FAILURE_SETTINGS, NULL, NULL,
                               "command text longer than %zu bytes", size - 1);
    }
    return true;
}
