/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "strict_number.h"

#include <ctype.h>
#include <errno.h>
#include <limits.h>
#include <stdlib.h>
#include <string.h>

/*
 * Powers of ten of the leading digit that a normal double surely holds:
 * 10^-307 > 2.2e-308 (smallest normal), 10^308 < 1.79e308 (IEEE 754 binary64).
 */
enum { LONGEST = 60, FAR = 100000, LEAST_POWER = -307, GREATEST_POWER = 307 };

static bool is_digit(char byte)
{
    return byte >= '0' && byte <= '9';
}

static char byte_at(const struct strict_token *token, size_t limit, size_t at)
{
    return at < limit ? token->text[at] : '\0';
}

bool strict_token_begins(char byte, char next)
{
    if (byte == '+' || byte == '-')
        return is_digit(next) || next == '.';
    return is_digit(byte) || byte == '.';
}

static size_t skip_digits(const struct strict_token *token, size_t limit, size_t at)
{
    while (is_digit(byte_at(token, limit, at)))
        at++;
    return at;
}

/* An exponent counts only when it has digits; else it is a name of its own. */
static size_t skip_exponent(const struct strict_token *token, size_t limit, size_t at)
{
    size_t digits = at + 1;
    char mark = byte_at(token, limit, at);

    if (mark != 'e' && mark != 'E')
        return at;
    if (byte_at(token, limit, digits) == '+' || byte_at(token, limit, digits) == '-')
        digits++;
    size_t end = skip_digits(token, limit, digits);
    return end > digits ? end : at;
}

static void read_wide(struct strict_token *token, size_t limit, size_t at)
{
    token->value_bytes = at;
    while (at - token->value_bytes < 2 && byte_at(token, limit, at) == 'L')
        at++;
    token->wide = at > token->value_bytes;
    token->length = at;
}

static bool read_hexadecimal(struct strict_token *token, size_t limit)
{
    size_t at = 2;

    if (byte_at(token, limit, 0) != '0' ||
        tolower((unsigned char)byte_at(token, limit, 1)) != 'x' ||
        !isxdigit((unsigned char)byte_at(token, limit, 2)))
        return false;
    while (isxdigit((unsigned char)byte_at(token, limit, at)))
        at++;
    token->hexadecimal = true;
    token->digits = at - 2;
    read_wide(token, limit, at);
    return true;
}

void strict_token_read(const char *text, size_t length, struct strict_token *token)
{
    *token = (struct strict_token) { .text = text };
    if (read_hexadecimal(token, length))
        return;
    size_t begin = text[0] == '+' || text[0] == '-' ? 1 : 0;
    size_t at = skip_digits(token, length, begin);

    token->digits = at - begin;
    if (byte_at(token, length, at) == '.') {
        size_t end = skip_digits(token, length, at + 1);
        token->digits += end - at - 1;
        token->decimal = true;
        at = end;
    }
    size_t end = skip_exponent(token, length, at);
    token->decimal = token->decimal || end > at;
    token->value_bytes = end;
    token->length = end;
    if (!token->decimal)
        read_wide(token, length, end);
}

/*
 * Power of ten of the first digit that is not 0; false for a zero. An
 * exponent beyond FAR is out of bounds however many digits stand before it.
 */
static bool leading_power(const char *text, long *power)
{
    const char *point = strchr(text, '.');
    const char *exponent = strpbrk(text, "eE");
    const char *end = exponent != NULL ? exponent : text + strlen(text);
    const char *units = point != NULL ? point : end;
    const char *first = text + strcspn(text, "123456789");

    if (first >= end)
        return false;
    long places = first < units ? (long)(units - first) - 1 : -(long)(first - units);
    long written = exponent != NULL ? strtol(exponent + 1, NULL, 10) : 0;
    *power = places + (written > FAR ? FAR : written < -FAR ? -FAR : written);
    return true;
}

static bool check_decimal(const struct strict_token *token, const char *text, const char *file,
                          int line, struct problems *problems)
{
    long power = 0;

    if (token->digits == 0) {
        problems_add(problems, file, line, "\"%s\" is not a number, expected digits", text);
        return false;
    }
    if (leading_power(text, &power) && (power < LEAST_POWER || power > GREATEST_POWER)) {
        problems_add(problems, file, line,
                     "%s is too %s, expected 0 or a magnitude from 1e%d to below 1e%d", text,
                     power < 0 ? "small" : "large", LEAST_POWER, GREATEST_POWER + 1);
        return false;
    }
    return true;
}

static bool check_integer(const struct strict_token *token, const char *text, const char *file,
                          int line, struct problems *problems)
{
    errno = 0;
    long long value = strtoll(text, NULL, token->hexadecimal ? 16 : 10);

    if (errno == ERANGE) {
        problems_add(problems, file, line, "integer %s does not fit in 64 bits", text);
        return false;
    }
    if (!token->wide && (value < INT_MIN || value > INT_MAX)) {
        problems_add(problems, file, line,
                     "integer %s does not fit, expected %d to %d, or an L at its end", text,
                     INT_MIN, INT_MAX);
        return false;
    }
    return true;
}

bool strict_token_check(const struct strict_token *token, const char *file, int line,
                        struct problems *problems)
{
    char text[LONGEST + 1];

    if (token->value_bytes > LONGEST) {
        problems_add(problems, file, line, "a number of more than %d characters", LONGEST);
        return false;
    }
    memcpy(text, token->text, token->value_bytes);
    text[token->value_bytes] = '\0';
    if (token->decimal)
        return check_decimal(token, text, file, line, problems);
    return check_integer(token, text, file, line, problems);
}
