/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "decimal.h"

#include <assert.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { EXACT_DIGITS = 17, SCIENTIFIC_SIZE = 32 };

/* Reads what printf's %e wrote, whatever stands there as the decimal point. */
static struct decimal parse(const char *text, bool negative)
{
    struct decimal decimal = { .negative = negative };
    const char *at = text;
    for (; *at != 'e'; at++)
        if (*at >= '0' && *at <= '9')
            decimal.digits[decimal.count++] = *at;
    decimal.exponent = (int)strtol(at + 1, NULL, 10);
    return decimal;
}

struct decimal decimal_round(double value, int digits)
{
    assert(isfinite(value) && digits >= 1 && digits <= EXACT_DIGITS);
    if (value == 0.0)
        return (struct decimal) { .negative = false };
    char text[SCIENTIFIC_SIZE];
    snprintf(text, sizeof(text), "%.*e", digits - 1, fabs(value));
    return parse(text, value < 0.0);
}

static struct decimal power_of_ten(int place, bool negative)
{
    return (struct decimal) { negative, place, 1, { '1' } };
}

/* Whether a number whose first digit stands just below the place is over half of 10^place. */
static bool over_half(const struct decimal *exact)
{
    if (exact->digits[0] != '5')
        return exact->digits[0] > '5';
    for (int i = 1; i < exact->count; i++)
        if (exact->digits[i] != '0')
            return true;
    return false;
}

struct decimal decimal_at(double value, int place)
{
    struct decimal exact = decimal_round(value, EXACT_DIGITS);
    int digits = exact.exponent - place + 1;
    if (exact.count == 0 || digits < 0)
        return (struct decimal) { .negative = false };
    if (digits > 0)
        return decimal_round(value, digits);
    return over_half(&exact) ? power_of_ten(place, exact.negative)
                             : (struct decimal) { .negative = false };
}

struct decimal decimal_shortest(double value)
{
    struct decimal decimal = decimal_round(value, 1);
    for (int digits = 2; digits <= EXACT_DIGITS && decimal_value(&decimal) != value; digits++)
        decimal = decimal_round(value, digits);
    return decimal;
}

double decimal_value(const struct decimal *decimal)
{
    if (decimal->count == 0)
        return 0.0;
    char text[SCIENTIFIC_SIZE];
    snprintf(text, sizeof(text), "%.*se%d", decimal->count, decimal->digits,
             decimal->exponent - decimal->count + 1);
    double magnitude = strtod(text, NULL);
    return decimal->negative ? -magnitude : magnitude;
}

/* The digit that stands at a power of ten; '0' where none is written. */
static char digit_at(const struct decimal *decimal, int power)
{
    int index = decimal->exponent - power;
    return index >= 0 && index < decimal->count ? decimal->digits[index] : '0';
}

struct decimal decimal_step_away(const struct decimal *decimal, int place)
{
    if (decimal->count == 0)
        return power_of_ten(place, decimal->negative);
    struct decimal next = *decimal;
    next.count = decimal->exponent - place + 1;
    assert(next.count >= 1 && next.count < DECIMAL_DIGITS);
    int at = next.count - 1;
    for (int i = 0; i < next.count; i++)
        next.digits[i] = digit_at(decimal, decimal->exponent - i);
    while (at >= 0 && next.digits[at] == '9')
        next.digits[at--] = '0';
    if (at >= 0) {
        next.digits[at]++;
        return next;
    }
    return power_of_ten(decimal->exponent + 1, decimal->negative);
}

char *decimal_write(char *text, size_t size, const struct decimal *decimal, int unit_exponent,
                    int decimals)
{
    assert(size > 0 && decimals >= 0);
    size_t used = 0;
    int first = decimal->count > 0 ? decimal->exponent - unit_exponent : 0;
    if (decimal->negative && decimal->count > 0 && used + 1 < size)
        text[used++] = '-';
    for (int power = first > 0 ? first : 0; power >= -decimals && used + 1 < size; power--) {
        if (power == -1)
            text[used++] = '.';
        if (used + 1 < size)
            text[used++] = digit_at(decimal, power + unit_exponent);
    }
    text[used] = '\0';
    return text;
}
