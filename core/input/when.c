/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "when.h"

#include <ctype.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

/* The prefixes of the SI that a bench uses. */
static const struct prefix {
    const char *text;
    double factor;
} prefixes[] = { { "", 1 },     { "n", 1e-9 }, { "u", 1e-6 }, { "µ", 1e-6 },
                 { "m", 1e-3 }, { "k", 1e3 },  { "M", 1e6 } };

static const char *skip_space(const char *text)
{
    return text + strspn(text, " ");
}

/* Goes past a word and the space behind it; NULL where it is another one. */
static const char *skip_word(const char *text, const char *word)
{
    size_t length = strlen(word);
    if (text == NULL || strncmp(text, word, length) != 0 || text[length] != ' ')
        return NULL;
    return skip_space(text + length);
}

/* Takes a unit with or without its prefix; the factor of the prefix, NAN: it is another unit. */
static double read_unit(const char *text, const char *unit)
{
    if (text[0] == '\0')
        return 1;
    for (size_t i = 0; i < sizeof prefixes / sizeof *prefixes; i++) {
        size_t length = strlen(prefixes[i].text);
        if (strncmp(text, prefixes[i].text, length) == 0 && strcmp(text + length, unit) == 0)
            return prefixes[i].factor;
    }
    return (double)NAN;
}

/* Digits with a point and an exponent, and not the other spellings that strtod() takes. */
static bool read_number(const char *text, const char **end, double *number)
{
    const char *digits = text + (*text == '-' || *text == '+');
    char *rest;
    if (!isdigit((unsigned char)digits[0]) &&
        !(digits[0] == '.' && isdigit((unsigned char)digits[1])))
        return false;
    if (digits[0] == '0' && (digits[1] == 'x' || digits[1] == 'X'))
        return false;
    *number = strtod(text, &rest);
    *end = rest;
    return isfinite(*number);
}

bool when_read(const char *text, const char *unit, struct when *when, struct failure *failure)
{
    const char *begin = skip_space(text), *rises = skip_word(begin, "rises");
    const char *level = skip_word(rises != NULL ? rises : skip_word(begin, "falls"), "through");
    const char *rest;
    char plain[32];
    double number;
    if (level == NULL || !read_number(level, &rest, &number))
        return failure_set(failure, FAILURE_SETTINGS, NULL,
                           "as in \"rises through 2.5 V\" or \"falls through 300 mV\"",
                           "\"%.80s\" says no level and no way through it", text);
    rest = skip_space(rest);
    size_t length = strlen(rest);
    while (length > 0 && rest[length - 1] == ' ')
        length--;
    bool fits = length < sizeof plain;
    memcpy(plain, rest, fits ? length : 0);
    plain[fits ? length : 0] = '\0';
    double factor = fits ? read_unit(plain, unit) : (double)NAN;
    if (isnan(factor) || !isfinite(number * factor))
        return failure_set(failure, FAILURE_SETTINGS, NULL, unit,
                           "\"%.40s\" is no unit of this point", rest);
    *when = (struct when) { rises != NULL, number * factor };
    return true;
}

/* 1 above the level, -1 below, 0 too near to tell. */
static int side_of(double sample, double level, double error)
{
    return sample > level + error ? 1 : sample < level - error ? -1 : 0;
}

/* The side of the next sample from `at` on, in steps of `step`, that is on one; 0: none is. */
static int side_from(const double *samples, size_t count, size_t at, int step, double level,
                     double error)
{
    for (size_t i = at; i < count; i += (size_t)(ptrdiff_t)step) {
        int side = side_of(samples[i], level, error);
        if (side != 0)
            return side;
    }
    return 0;
}

bool when_shown(const double *samples, size_t count, double at, double room, bool rising,
                double level, double error)
{
    int after = rising ? 1 : -1;
    double first = fmax(floor(at - room), 0), last = fmin(ceil(at + room), (double)count - 2);
    if (!(first <= last))
        return false;
    for (size_t sample = (size_t)first; sample <= (size_t)last; sample++) {
        int from = side_from(samples, count, sample, -1, level, error);
        int to = side_from(samples, count, sample + 1, 1, level, error);
        if ((from == -after && to == after) || (from == 0 && to == after) ||
            (from == -after && to == 0))
            return true;
    }
    return false;
}
