/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Decimal text into doubles. The syntax is checked first; what goes to
 * strtod() is the digits without the decimal point and a corrected exponent,
 * so that its correctly rounded conversion is used and no locale's decimal
 * point matters. (strtod() itself also takes hexadecimal, "nan", "inf", and
 * the beginning of what is no number: C17 7.22.1.3.)
 */
#include "response.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>

enum { NUMBER_TEXT = 255, LARGEST_EXPONENT = 32000 };

/*
 * Lowest magnitude that is no value, and the bounds around 9.91E37. SCPI-1999
 * 7.2.1.4 and 7.2.1.5 name 9.9E37 and 9.91E37, which 32-bit floats miss by a
 * little, and makers use either for overload.
 */
static const double no_value = 9.8e37;
static const double not_a_number_low = 9.905e37;
static const double not_a_number_high = 9.915e37;

/* What is left to read, and what has been read. */
struct scan {
    const char *at;
    const char *end;
    char digits[NUMBER_TEXT + 32]; /* sign, digits, exponent: for strtod() */
    size_t used;
    long exponent;
};

static bool is_digit(char c)
{
    return c >= '0' && c <= '9';
}

static bool take(struct scan *scan, char c)
{
    if (scan->at == scan->end || *scan->at != c)
        return false;
    scan->at++;
    return true;
}

static size_t parse_digits(struct scan *scan)
{
    const char *begin = scan->at;

    for (; scan->at < scan->end && is_digit(*scan->at); scan->at++)
        scan->digits[scan->used++] = *scan->at;
    return (size_t)(scan->at - begin);
}

static bool parse_mantissa(struct scan *scan)
{
    size_t whole;
    size_t part = 0;

    if (take(scan, '-'))
        scan->digits[scan->used++] = '-';
    else
        take(scan, '+');
    whole = parse_digits(scan);
    if (take(scan, '.'))
        part = parse_digits(scan);
    scan->exponent = -(long)part;
    return whole + part > 0;
}

/* The exponent, when there is one. A larger one than IEEE 488.2 allows (7.7.2) is an error. */
static bool parse_exponent(struct scan *scan)
{
    long exponent = 0;
    bool minus;

    if (!take(scan, 'E') && !take(scan, 'e'))
        return true;
    minus = take(scan, '-');
    if (!minus)
        take(scan, '+');
    if (scan->at == scan->end)
        return false;
    for (; scan->at < scan->end && is_digit(*scan->at); scan->at++) {
        exponent = exponent * 10 + (*scan->at - '0');
        if (exponent > LARGEST_EXPONENT)
            return false;
    }
    scan->exponent += minus ? -exponent : exponent;
    return true;
}

bool decimal_parse(const char *text, size_t count, double *number)
{
    struct scan scan = { .at = text, .end = text + count };
    double value;

    if (count == 0 || count > NUMBER_TEXT)
        return false;
    if (!parse_mantissa(&scan) || !parse_exponent(&scan) || scan.at != scan.end)
        return false;
    snprintf(scan.digits + scan.used, sizeof scan.digits - scan.used, "e%ld", scan.exponent);
    value = strtod(scan.digits, NULL);
    if (!isfinite(value))
        return false;
    *number = value;
    return true;
}

enum number_special number_classify(double number)
{
    if (isnan(number))
        return SPECIAL_NOT_A_NUMBER;
    if (number >= not_a_number_low && number <= not_a_number_high)
        return SPECIAL_NOT_A_NUMBER;
    if (number >= no_value)
        return SPECIAL_INFINITY;
    if (number <= -no_value)
        return SPECIAL_MINUS_INFINITY;
    return SPECIAL_NONE;
}
