/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "json_text.h"

#include "core/basics/utf8.h"

#include <inttypes.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { FIRST_CAPACITY = 2048 };

void text_free(struct text *text)
{
    free(text->bytes);
    *text = (struct text) { 0 };
}

void text_reset(struct text *text)
{
    text->length = 0;
    text->failed = false;
    if (text->bytes != NULL)
        text->bytes[0] = '\0';
}

/* Makes room for `count` more bytes and the terminator. */
static bool text_reserve(struct text *text, size_t count)
{
    if (text->failed)
        return false;
    if (text->capacity - text->length > count)
        return true;
    size_t capacity = text->capacity > 0 ? text->capacity : FIRST_CAPACITY;
    while (capacity - text->length <= count)
        capacity *= 2;
    char *bytes = realloc(text->bytes, capacity);
    if (bytes == NULL) {
        text->failed = true;
        return false;
    }
    text->bytes = bytes;
    text->capacity = capacity;
    return true;
}

void text_raw(struct text *text, const char *bytes, size_t count)
{
    if (!text_reserve(text, count))
        return;
    if (count > 0)
        memcpy(text->bytes + text->length, bytes, count);
    text->length += count;
    text->bytes[text->length] = '\0';
}

static void text_byte(struct text *text, char byte)
{
    text_raw(text, &byte, 1);
}

/* Puts the comma before an element, unless it is the first or follows its key. */
static void text_separate(struct text *text)
{
    if (text->length > 0 && strchr("{[:", text->bytes[text->length - 1]) == NULL)
        text_byte(text, ',');
}

void text_json(struct text *text, const char *bytes, size_t count)
{
    text_separate(text);
    text_raw(text, bytes, count);
}

void text_open(struct text *text, char bracket)
{
    text_separate(text);
    text_byte(text, bracket);
}

void text_close(struct text *text, char bracket)
{
    text_byte(text, bracket);
}

void text_key(struct text *text, const char *key)
{
    text_separate(text);
    text_byte(text, '"');
    text_raw(text, key, strlen(key));
    text_raw(text, "\":", 2);
}

void text_member_open(struct text *text, const char *key, char bracket)
{
    text_key(text, key);
    text_open(text, bracket);
}

/* None that is escaped lies beyond U+FFFF. */
static void text_escape(struct text *text, uint32_t code)
{
    char escape[8];
    int length = code == '"' || code == '\\'
                     ? snprintf(escape, sizeof escape, "\\%c", (int)code)
                     : snprintf(escape, sizeof escape, "\\u%04x", (unsigned)code & 0xffff);
    text_raw(text, escape, (size_t)length);
}

static bool is_plain(unsigned char byte)
{
    return byte >= 0x20 && byte < 0x7f && byte != '"' && byte != '\\';
}

void text_bytes(struct text *text, const char *bytes, size_t count)
{
    const unsigned char *at = (const unsigned char *)bytes;
    text_separate(text);
    text_byte(text, '"');
    for (size_t i = 0; i < count;) {
        size_t run = 0;
        while (i + run < count && is_plain(at[i + run]))
            run++;
        text_raw(text, bytes + i, run);
        i += run;
        if (i == count)
            break;
        uint32_t code;
        size_t length = utf8_decode(bytes + i, count - i, &code);
        if (length > 0 && (length == 1 || utf8_steers(code)))
            text_escape(text, code);
        else if (length > 1)
            text_raw(text, bytes + i, length);
        else
            text_raw(text, "\\ufffd", 6);
        i += length > 0 ? length : 1;
    }
    text_byte(text, '"');
}

void text_string(struct text *text, const char *string)
{
    text_bytes(text, string, strlen(string));
}

void text_number(struct text *text, double number)
{
    char digits[40];
    int length = 0;
    if (!isfinite(number)) {
        text->failed = true;
        return;
    }
    for (int precision = 15; precision <= 17; precision++) {
        length = snprintf(digits, sizeof digits, "%.*g", precision, number);
        if (precision == 17 || strtod(digits, NULL) == number)
            break;
    }
    text_json(text, digits, (size_t)length);
}

void text_integer(struct text *text, int64_t number)
{
    char digits[24];
    int length = snprintf(digits, sizeof digits, "%" PRId64, number);
    text_json(text, digits, (size_t)length);
}

void text_bool(struct text *text, bool value)
{
    text_json(text, value ? "true" : "false", value ? 4 : 5);
}

void text_member_string(struct text *text, const char *key, const char *string)
{
    if (string == NULL || string[0] == '\0')
        return;
    text_key(text, key);
    text_string(text, string);
}

void text_member_number(struct text *text, const char *key, double number)
{
    if (!isfinite(number))
        return;
    text_key(text, key);
    text_number(text, number);
}

void text_member_integer(struct text *text, const char *key, int64_t number)
{
    text_key(text, key);
    text_integer(text, number);
}

void text_member_bool(struct text *text, const char *key, bool value)
{
    text_key(text, key);
    text_bool(text, value);
}
