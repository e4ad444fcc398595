/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "terminal_text.h"

#include "core/basics/utf8.h"
#include "memory.h"

#include <glib.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { LONGEST_SPELLING = 4, LONGEST_CHARACTER = 4 };

/* Decodes one character. Returns its bytes, or 0 when there is none at `text`. */
static size_t decode(const char *text, uint32_t *code)
{
    return utf8_decode(text, strnlen(text, LONGEST_CHARACTER), code);
}

static const char *spelling(uint32_t code)
{
    static const struct {
        uint32_t code;
        const char *ascii;
    } table[] = {
        { 0xB5, "u" },     { 0x3BC, "u" },   { 0x3A9, "Ohm" }, { 0x2126, "Ohm" }, { 0xB1, "+/-" },
        { 0xB0, "deg" },   { 0xD7, "x" },    { 0xB2, "^2" },   { 0x2013, "-" },   { 0x2014, "-" },
        { 0x2026, "..." }, { 0x2192, "->" }, { 0xB7, "*" },    { 0x2264, "<=" },  { 0x2265, ">=" },
        { 0x221E, "inf" }, { 0x2212, "-" },
    };
    for (size_t i = 0; i < sizeof table / sizeof table[0]; i++)
        if (table[i].code == code)
            return table[i].ascii;
    return "?";
}

char *text_printable(const char *text, bool ascii)
{
    char *const copy = memory_zeroed(strlen(text) * LONGEST_SPELLING + 1, 1);
    char *end = copy;
    while (*text != '\0') {
        uint32_t code = 0;
        const size_t bytes = decode(text, &code);
        if (bytes == 0 || utf8_steers(code)) {
            const size_t bad = bytes == 0 ? 1 : bytes;
            for (size_t i = 0; i < bad; i++)
                end += snprintf(end, LONGEST_SPELLING + 1, "\\x%02X", (unsigned char)text[i]);
            text += bad;
            continue;
        }
        if (ascii && code > 0x7E) {
            end = stpcpy(end, spelling(code));
        } else {
            memcpy(end, text, bytes);
            end += bytes;
        }
        text += bytes;
    }
    *end = '\0';
    return copy;
}

/* As Unicode's East Asian Width and general categories have it, in GLib's tables. */
static size_t code_width(uint32_t code)
{
    if (g_unichar_iszerowidth(code))
        return 0;
    return g_unichar_iswide(code) ? 2 : 1;
}

size_t text_fit(const char *text, size_t columns)
{
    const char *at = text;
    size_t width = 0;
    while (*at != '\0') {
        uint32_t code = '?';
        const size_t decoded = decode(at, &code);
        width += code_width(code);
        if (width > columns)
            break;
        at += decoded == 0 ? 1 : decoded;
    }
    return (size_t)(at - text);
}

size_t text_width(const char *text)
{
    size_t width = 0;
    while (*text != '\0') {
        uint32_t code = '?';
        const size_t bytes = decode(text, &code);
        width += code_width(code);
        text += bytes == 0 ? 1 : bytes;
    }
    return width;
}

char *text_tame(const char *text)
{
    static const char replacement[] = "\uFFFD"; /* as many bytes as most of them */
    char *copy = memory_text(text);
    for (char *at = copy; *at != '\0';) {
        uint32_t code = 0;
        const size_t length = decode(at, &code);
        const bool steers = length > 0 && code != '\n' && utf8_steers(code);
        if (steers && length == sizeof replacement - 1)
            memcpy(at, replacement, length);
        else if (steers || length == 0)
            memset(at, '?', length == 0 ? 1 : length);
        at += length == 0 ? 1 : length;
    }
    return copy;
}
