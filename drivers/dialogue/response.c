/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "response.h"

#include "drivers/basics/printable.h"

#include <stdint.h>
#include <stdio.h>
#include <string.h>

enum { IDENTITY_FIELDS = 4, IDENTITY_LENGTH = 72 };

static const uint64_t largest_exact = UINT64_C(1) << 53;

/* A walk through a message body. */
struct walk {
    const char *at;
    const char *end;
    struct failure *failure;
};

static bool unexpected(struct walk *walk, const char *expected, const char *what)
{
    char shown[80];

    printable(walk->at, (size_t)(walk->end - walk->at), shown, sizeof shown);
    return failure_set(walk->failure, FAILURE_UNEXPECTED_REPLY, NULL, expected, "%s at '%s'", what,
                       shown);
}

static bool is_blank(char c)
{
    return c == ' ' || c == '\t';
}

static bool is_digit(char c)
{
    return c >= '0' && c <= '9';
}

static bool is_letter(char c)
{
    return (c >= 'A' && c <= 'Z') || (c >= 'a' && c <= 'z');
}

static void skip_blanks(struct walk *walk)
{
    while (walk->at < walk->end && is_blank(*walk->at))
        walk->at++;
}

static bool at_separator(const struct walk *walk)
{
    return walk->at < walk->end && (*walk->at == ',' || *walk->at == ';');
}

/* The value of a digit in bases up to 16, or 16 for what is no digit. */
static unsigned digit_value(char c)
{
    if (is_digit(c))
        return (unsigned)(c - '0');
    if (c >= 'A' && c <= 'F')
        return (unsigned)(c - 'A') + 10;
    if (c >= 'a' && c <= 'f')
        return (unsigned)(c - 'a') + 10;
    return 16;
}

/* Digits behind #H, #Q or #B. */
static bool parse_based(struct walk *walk, unsigned base, struct element *element)
{
    const char *begin = walk->at;
    uint64_t value = 0;

    for (; walk->at < walk->end && digit_value(*walk->at) < base; walk->at++) {
        value = value * base + digit_value(*walk->at);
        if (value > largest_exact)
            return unexpected(walk, "at most 2^53", "integer too large");
    }
    if (walk->at == begin)
        return unexpected(walk, "digits", "no digit of the base");
    element->type = ELEMENT_INTEGER;
    element->number = (double)value;
    return true;
}

/* A definite block; `walk` stands on the digit that says how long its length is. */
static bool parse_definite(struct walk *walk, struct element *element)
{
    int digits = *walk->at++ - '0';
    size_t length = 0;

    for (; digits > 0; digits--) {
        if (walk->at == walk->end || !is_digit(*walk->at))
            return unexpected(walk, "digits", "length of a block is not a number");
        length = length * 10 + (size_t)(*walk->at++ - '0');
    }
    if (length > (size_t)(walk->end - walk->at))
        return unexpected(walk, NULL, "block shorter than its length");
    element->type = ELEMENT_BLOCK;
    element->bytes = walk->at;
    element->count = length;
    walk->at += length;
    return true;
}

static bool parse_indefinite(struct walk *walk, struct element *element)
{
    element->type = ELEMENT_BLOCK;
    element->bytes = ++walk->at;
    element->count = (size_t)(walk->end - walk->at);
    walk->at = walk->end;
    return true;
}

static bool parse_hash(struct walk *walk, struct element *element)
{
    char kind = '\0';

    walk->at++;
    if (walk->at < walk->end)
        kind = *walk->at;
    if (kind == '0')
        return parse_indefinite(walk, element);
    if (is_digit(kind))
        return parse_definite(walk, element);
    walk->at++;
    switch (kind) {
    case 'H':
    case 'h':
        return parse_based(walk, 16, element);
    case 'Q':
    case 'q':
        return parse_based(walk, 8, element);
    case 'B':
    case 'b':
        return parse_based(walk, 2, element);
    default:
        walk->at--;
        return unexpected(walk, "#H, #Q, #B or a block", "# followed by something else");
    }
}

static bool is_string_byte(char c)
{
    unsigned char byte = (unsigned char)c;

    return byte != 0 && byte <= 0x7e;
}

/* Text between quotes; an inner quote is doubled and stays so. */
static bool parse_string(struct walk *walk, struct element *element)
{
    char quote = *walk->at++;
    const char *begin = walk->at;

    for (; walk->at < walk->end; walk->at++) {
        if (!is_string_byte(*walk->at))
            return unexpected(walk, "ASCII characters", "damaged string");
        if (*walk->at != quote)
            continue;
        if (walk->at + 1 == walk->end || walk->at[1] != quote) {
            element->type = ELEMENT_STRING;
            element->bytes = begin;
            element->count = (size_t)(walk->at++ - begin);
            return true;
        }
        walk->at++;
    }
    return unexpected(walk, NULL, "string without closing quote");
}

static bool parse_word(struct walk *walk, struct element *element)
{
    const char *begin = walk->at;

    while (walk->at < walk->end &&
           (is_letter(*walk->at) || is_digit(*walk->at) || *walk->at == '_'))
        walk->at++;
    element->type = ELEMENT_CHARACTER;
    element->bytes = begin;
    element->count = (size_t)(walk->at - begin);
    return true;
}

static bool parse_decimal(struct walk *walk, struct element *element)
{
    const char *begin = walk->at;
    const char *stop = begin;

    while (stop < walk->end && !is_blank(*stop) && *stop != ',' && *stop != ';')
        stop++;
    if (!decimal_parse(begin, (size_t)(stop - begin), &element->number))
        return unexpected(walk, "a number", "no response element");
    element->type = ELEMENT_NUMBER;
    element->special = number_classify(element->number);
    element->bytes = begin;
    element->count = (size_t)(stop - begin);
    walk->at = stop;
    return true;
}

static bool parse_element(struct walk *walk, struct element *element)
{
    const char *begin = walk->at;
    bool taken;

    if (walk->at == walk->end || at_separator(walk))
        return unexpected(walk, "an element", "empty field");
    if (is_letter(*walk->at))
        return parse_word(walk, element);
    if (*walk->at == '"' || *walk->at == '\'')
        return parse_string(walk, element);
    if (*walk->at != '#')
        return parse_decimal(walk, element);
    taken = parse_hash(walk, element);
    if (taken && element->type == ELEMENT_INTEGER) {
        element->bytes = begin;
        element->count = (size_t)(walk->at - begin);
    }
    return taken;
}

bool response_parse(const char *body, size_t count, struct element *elements, size_t max, size_t *n,
                    struct failure *failure)
{
    struct walk walk = { body, body + count, failure };
    size_t filled = 0;
    size_t unit = 0;

    for (;;) {
        struct element element = { .special = SPECIAL_NONE, .unit = unit };

        skip_blanks(&walk);
        if (!parse_element(&walk, &element))
            return false;
        skip_blanks(&walk);
        if (walk.at != walk.end && !at_separator(&walk))
            return unexpected(&walk, "a separator", "text behind an element");
        if (filled == max)
            return failure_set(failure, FAILURE_UNEXPECTED_REPLY, NULL, NULL,
                               "reply has more than %zu elements", max);
        elements[filled++] = element;
        if (walk.at == walk.end)
            break;
        if (*walk.at++ == ';')
            unit++;
    }
    *n = filled;
    return true;
}

bool response_number(const char *body, size_t count, double *number, enum number_special *special,
                     struct failure *failure)
{
    struct element element = { .special = SPECIAL_NONE };
    size_t n;
    char shown[80];

    if (!response_parse(body, count, &element, 1, &n, failure))
        return false;
    if (element.type != ELEMENT_NUMBER && element.type != ELEMENT_INTEGER)
        return failure_set(failure, FAILURE_UNEXPECTED_REPLY, NULL, "a number", "'%s'",
                           printable(body, count, shown, sizeof shown));
    *number = element.number;
    *special = element.special;
    return true;
}

/* Characters of an identity answer: codes 20 to 7E hexadecimal (IEEE 488.2, 10.14). */
static bool is_identity_text(const char *body, size_t count)
{
    for (size_t i = 0; i < count; i++)
        if ((unsigned char)body[i] < 0x20 || (unsigned char)body[i] > 0x7e)
            return false;
    return true;
}

/* Counts the fields; 0 when one of them is empty or blank. */
static size_t identity_fields(const char *body, size_t count)
{
    size_t fields = 1;
    bool filled = false;

    for (size_t i = 0; i < count; i++) {
        if (body[i] != ',') {
            filled = filled || !is_blank(body[i]);
            continue;
        }
        if (!filled)
            return 0;
        fields++;
        filled = false;
    }
    return filled ? fields : 0;
}

bool identity_check(const char *body, size_t count, char *warning, size_t warning_size,
                    struct failure *failure)
{
    char shown[120];

    printable(body, count, shown, sizeof shown);
    if (!is_identity_text(body, count) || identity_fields(body, count) != IDENTITY_FIELDS)
        return failure_set(failure, FAILURE_UNEXPECTED_REPLY, NULL,
                           "maker, model, serial number and firmware, separated by commas", "'%s'",
                           shown);
    if (count > IDENTITY_LENGTH)
        snprintf(warning, warning_size, "identity is longer than %d characters", IDENTITY_LENGTH);
    else if (memchr(body, ';', count))
        snprintf(warning, warning_size, "identity holds a semicolon");
    else
        snprintf(warning, warning_size, "%s", "");
    return true;
}
