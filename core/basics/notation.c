/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "notation.h"

#include "decimal.h"

#include <assert.h>
#include <limits.h>
#include <math.h>
#include <stdbool.h>
#include <stdio.h>
#include <string.h>

enum {
    SMALLEST_PREFIX = -12,
    LARGEST_PREFIX = 9,
    /* So many places before the point, or zeros after it, are still read at a glance; */
    MOST_PLACES = 15, /* beyond them a power of ten is written instead. */
    MOST_ZEROS = 6,
    EXACT_PLACES = 16,   /* places that a double has after its first digit */
    PLAIN_DIGITS = 15,   /* any decimal of so many survives in a double */
    ANY_PLACE = INT_MIN, /* zeros before the point are welcome */
    DIGITS_ALONE = 6,    /* of a value that comes without an uncertainty */
    NUMBER_SIZE = 48
};

static const char *const prefixes[] = { "p", "n", "\u00b5", "m", "", "k", "M", "G" };

/*
 * Symbols that are written with a prefix: the units of the SI with a name of
 * their own, and what is in use with them. A symbol that is not here may hold
 * a prefix already ("mm") or be no unit ("div"), so it gets none.
 */
static const char *const prefixed_units[] = { "V",   "A", "Ω", "\u2126", "Hz", "W",  "F",   "H",
                                              "S",   "C", "J", "N",      "Pa", "T",  "Wb",  "K",
                                              "m",   "s", "g", "lm",     "lx", "cd", "mol", "rad",
                                              "bar", "L", "l", "eV",     "VA", "Bq", "Gy" };

/* In which unit a number is written. */
struct scale {
    int exponent; /* of the unit the digits are in */
    bool power;   /* written as a power of ten, not as a prefix */
    const char *prefix;
};

/* A value and its uncertainty, ready to be written with the same place as their last. */
struct pair {
    struct decimal value;
    struct decimal uncertainty;
    struct scale scale;
    int decimals;
};

static bool takes_prefix(const char *unit)
{
    for (size_t i = 0; i < sizeof(prefixed_units) / sizeof(prefixed_units[0]); i++)
        if (strcmp(prefixed_units[i], unit) == 0)
            return true;
    return false;
}

static int larger(int a, int b)
{
    return a > b ? a : b;
}

/* The prefix exponent that leaves one to three digits before the point, as far as there is one. */
static int prefix_exponent(int lead)
{
    int exponent = SMALLEST_PREFIX;
    while (exponent < LARGEST_PREFIX && lead >= exponent + 3)
        exponent += 3;
    return exponent;
}

/*
 * The scale for a number whose first digit stands at 10^lead and whose last
 * one that means anything stands at 10^place. No zero that means nothing is
 * written before the point where a larger prefix avoids it: 0.10 V, not 100 mV.
 */
static struct scale scale_for(int lead, int place, const char *unit)
{
    int exponent = 0;
    const char *prefix = "";
    if (takes_prefix(unit)) {
        exponent = prefix_exponent(lead);
        if (place > exponent && exponent < LARGEST_PREFIX)
            exponent += 3;
        prefix = prefixes[(exponent - SMALLEST_PREFIX) / 3];
    }
    if (lead >= exponent + MOST_PLACES || lead < exponent - MOST_ZEROS)
        return (struct scale) { .exponent = lead, .power = true, .prefix = "" };
    return (struct scale) { .exponent = exponent, .power = false, .prefix = prefix };
}

static void write_number(char *text, const struct decimal *decimal, const struct scale *scale,
                         int decimals)
{
    decimal_write(text, NUMBER_SIZE, decimal, scale->exponent, decimals);
    if (scale->power) {
        size_t used = strlen(text);
        snprintf(text + used, NUMBER_SIZE - used, "e%d", scale->exponent);
    }
}

/* The space that belongs between a number and what follows it, if anything does. */
static const char *gap(const struct scale *scale, const char *unit)
{
    return scale->prefix[0] != '\0' || unit[0] != '\0' ? " " : "";
}

static char *write_value(char *text, size_t size, const struct decimal *decimal,
                         const struct scale *scale, int decimals, const char *unit)
{
    char number[NUMBER_SIZE];
    write_number(number, decimal, scale, decimals);
    snprintf(text, size, "%s%s%s%s", number, gap(scale, unit), scale->prefix, unit);
    return text;
}

static char *write_not_finite(char *text, size_t size, double value)
{
    const char *infinity = value < 0.0 ? "-inf" : "inf";
    snprintf(text, size, "%s", isnan(value) ? "-" : infinity);
    return text;
}

char *notation_value(char *text, size_t size, double value, int digits, const char *unit)
{
    assert(size >= NOTATION_SIZE && digits >= 1 && digits <= 15);
    if (!isfinite(value))
        return write_not_finite(text, size, value);
    struct decimal decimal = decimal_round(value, digits);
    int lead = decimal.exponent;
    if (decimal.count > 0 && lead < SMALLEST_PREFIX && takes_prefix(unit)) {
        /* The smallest prefix is kept, and with it the places of a value of one such unit. */
        decimal = decimal_at(value, SMALLEST_PREFIX - digits + 1);
        lead = SMALLEST_PREFIX;
    }
    struct scale scale = scale_for(lead, ANY_PLACE, unit);
    int decimals = larger(0, scale.exponent - (lead - digits + 1));
    return write_value(text, size, &decimal, &scale, decimals, unit);
}

/*
 * Rounds an uncertainty to `digits` significant ones, and up where that
 * would take more than 5 % of it away (EA-4/02 6.3).
 */
static struct decimal round_uncertainty(double uncertainty, int digits, int *place)
{
    struct decimal decimal = decimal_round(uncertainty, digits);
    if (decimal_value(&decimal) < 0.95 * uncertainty)
        decimal = decimal_step_away(&decimal, decimal.exponent - digits + 1);
    *place = decimal.exponent - digits + 1;
    return decimal;
}

/* Rounds an uncertainty to a multiple of 10^place, never down. */
static struct decimal round_up_at(double uncertainty, int place)
{
    struct decimal decimal = decimal_at(uncertainty, place);
    if (decimal_value(&decimal) < uncertainty)
        decimal = decimal_step_away(&decimal, place);
    return decimal;
}

static struct pair pair_of(double value, double uncertainty, int digits, const char *unit)
{
    int place = 0;
    struct pair pair = { .uncertainty = round_uncertainty(uncertainty, digits, &place) };
    int last = decimal_round(value, 1).exponent - EXACT_PLACES;
    if (value != 0.0 && place < last) {
        /* A double has no digits down there: the uncertainty grows to where it has. */
        place = last;
        pair.uncertainty = round_up_at(uncertainty, place);
    }
    pair.value = decimal_at(value, place);
    int lead = pair.uncertainty.exponent;
    if (pair.value.count > 0)
        lead = larger(lead, pair.value.exponent);
    pair.scale = scale_for(lead, place, unit);
    pair.decimals = larger(0, pair.scale.exponent - place);
    return pair;
}

static bool usable(double value, double uncertainty)
{
    return isfinite(value) && isfinite(uncertainty) && uncertainty > 0.0;
}

char *notation_result(char *text, size_t size, double value, double uncertainty, int digits,
                      const char *unit)
{
    assert(size >= NOTATION_SIZE && digits >= 1 && digits <= 2);
    if (!usable(value, uncertainty))
        return notation_value(text, size, value, DIGITS_ALONE, unit);
    struct pair pair = pair_of(value, uncertainty, digits, unit);
    write_value(text, size, &pair.value, &pair.scale, pair.decimals, unit);
    size_t used = strlen(text);
    snprintf(text + used, size - used, " ± ");
    used = strlen(text);
    write_value(text + used, size - used, &pair.uncertainty, &pair.scale, pair.decimals, unit);
    return text;
}

char *notation_plain(char *text, size_t size, double value, const char *unit)
{
    assert(size >= NOTATION_SIZE);
    if (!isfinite(value))
        return write_not_finite(text, size, value);
    struct decimal written = decimal_round(value, PLAIN_DIGITS);
    struct decimal decimal = decimal_shortest(decimal_value(&written));
    int last = decimal.count > 0 ? decimal.exponent - decimal.count + 1 : 0;
    struct scale scale = scale_for(decimal.exponent, ANY_PLACE, unit);
    return write_value(text, size, &decimal, &scale, larger(0, scale.exponent - last), unit);
}
