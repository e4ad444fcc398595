/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "utf8.h"

#include <string.h>

/* Bytes in the sequence that `lead` begins, and the bounds of its second byte (RFC 3629, 4). */
static size_t sequence(unsigned char lead, unsigned char *low, unsigned char *high)
{
    *low = 0x80;
    *high = 0xBF;
    if (lead < 0x80)
        return 1;
    if (lead >= 0xC2 && lead <= 0xDF)
        return 2;
    if (lead >= 0xE0 && lead <= 0xEF) {
        *low = lead == 0xE0 ? 0xA0 : *low;
        *high = lead == 0xED ? 0x9F : *high;
        return 3;
    }
    if (lead >= 0xF0 && lead <= 0xF4) {
        *low = lead == 0xF0 ? 0x90 : *low;
        *high = lead == 0xF4 ? 0x8F : *high;
        return 4;
    }
    return 0;
}

size_t utf8_decode(const char *text, size_t length, uint32_t *code)
{
    static const unsigned char lead_bits[] = { 0, 0x7F, 0x1F, 0x0F, 0x07 };
    unsigned char low;
    unsigned char high;
    size_t count = length > 0 ? sequence((unsigned char)text[0], &low, &high) : 0;

    if (count == 0 || count > length)
        return 0;
    uint32_t value = (unsigned char)text[0] & lead_bits[count];
    for (size_t i = 1; i < count; i++) {
        unsigned char byte = (unsigned char)text[i];
        if (byte < low || byte > high)
            return 0;
        value = value << 6 | (byte & 0x3F);
        low = 0x80;
        high = 0xBF;
    }
    *code = value;
    return count;
}

size_t utf8_prefix(const char *text, size_t length)
{
    size_t at = 0;

    while (at < length) {
        uint32_t code;
        size_t count = utf8_decode(text + at, length - at, &code);
        if (count == 0)
            break;
        at += count;
    }
    return at;
}

bool utf8_steers(uint32_t code)
{
    bool control = code < 0x20 || (code >= 0x7F && code < 0xA0);
    bool mark = code == 0x61C || code == 0x200E || code == 0x200F;
    return control || mark || (code >= 0x2028 && code <= 0x202E) ||
           (code >= 0x2066 && code <= 0x2069);
}

char *utf8_tame(char *text)
{
    for (char *at = text; *at != '\0';) {
        uint32_t code = (unsigned char)*at; /* a control where it is no character */
        size_t length = utf8_decode(at, strnlen(at, 4), &code);
        length = length > 0 ? length : 1;
        if (utf8_steers(code))
            memset(at, '?', length);
        at += length;
    }
    return text;
}

bool utf8_printable(const char *text)
{
    size_t length = strlen(text);

    for (size_t i = 0; i < length; i++) {
        unsigned char byte = (unsigned char)text[i];
        if (byte < ' ' || byte == 0x7F)
            return false;
    }
    return utf8_prefix(text, length) == length;
}
