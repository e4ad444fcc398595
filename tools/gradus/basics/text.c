/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "text.h"

#include "memory.h"

#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { LONGEST_SPELLING = 4, DISTANCE_MOST = 63 };

/* How many bytes follow a lead byte; 0 for ASCII, -1 for a byte that leads nothing. */
static int continuation_count(unsigned char lead)
{
    if (lead < 0x80) {
        return 0;
    }
    if (lead >= 0xC2 && lead <= 0xDF) {
        return 1;
    }
    if (lead >= 0xE0 && lead <= 0xEF) {
        return 2;
    }
    return lead >= 0xF0 && lead <= 0xF4 ? 3 : -1;
}

/* Overlong forms, surrogates and what lies beyond Unicode are no characters (RFC 3629). */
static bool code_is_valid(uint32_t code, int more)
{
    static const uint32_t least[] = { 0, 0x80, 0x800, 0x10000 };
    return code >= least[more] && code <= 0x10FFFF && (code < 0xD800 || code > 0xDFFF);
}

/* Decodes one character. Returns its bytes, or 0 when there is none at `text`. */
static size_t decode(const char *text, uint32_t *code)
{
    static const unsigned char lead_mask[] = { 0x7F, 0x1F, 0x0F, 0x07 };
    const unsigned char lead = (unsigned char)text[0];
    const int more = continuation_count(lead);
    if (more < 0) {
        return 0;
    }
    uint32_t value = lead & lead_mask[more];
    for (int i = 1; i <= more; i++) {
        const unsigned char next = (unsigned char)text[i];
        if ((next & 0xC0) != 0x80) {
            return 0;
        }
        value = value << 6 | (next & 0x3F);
    }
    if (!code_is_valid(value, more)) {
        return 0;
    }
    *code = value;
    return (size_t)more + 1;
}

static bool steers_terminal(uint32_t code)
{
    const bool control = code < 0x20 || (code >= 0x7F && code < 0xA0);
    const bool direction = (code >= 0x202A && code <= 0x202E) || (code >= 0x2066 && code <= 0x2069);
    return control || direction;
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
    for (size_t i = 0; i < sizeof table / sizeof table[0]; i++) {
        if (table[i].code == code) {
            return table[i].ascii;
        }
    }
    return "?";
}

char *text_printable(const char *text, bool ascii)
{
    char *const copy = memory_zeroed(strlen(text) * LONGEST_SPELLING + 1, 1);
    char *end = copy;
    while (*text != '\0') {
        uint32_t code = 0;
        const size_t bytes = decode(text, &code);
        if (bytes == 0 || steers_terminal(code)) {
            const size_t bad = bytes == 0 ? 1 : bytes;
            for (size_t i = 0; i < bad; i++) {
                end += snprintf(end, LONGEST_SPELLING + 1, "\\x%02X", (unsigned char)text[i]);
            }
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

static bool in_ranges(uint32_t code, const uint32_t (*ranges)[2], size_t count)
{
    for (size_t i = 0; i < count; i++) {
        if (code >= ranges[i][0] && code <= ranges[i][1]) {
            return true;
        }
    }
    return false;
}

/* The blocks that Unicode's East Asian Width data calls wide, coarsely (from memory). */
static size_t code_width(uint32_t code)
{
    static const uint32_t none[][2] = {
        { 0x300, 0x36F }, { 0x200B, 0x200F }, { 0x20D0, 0x20FF }, { 0xFE00, 0xFE0F }
    };
    static const uint32_t wide[][2] = { { 0x1100, 0x115F },  { 0x2E80, 0xA4CF },
                                        { 0xAC00, 0xD7A3 },  { 0xF900, 0xFAFF },
                                        { 0xFE30, 0xFE6F },  { 0xFF00, 0xFF60 },
                                        { 0xFFE0, 0xFFE6 },  { 0x1F300, 0x1FAFF },
                                        { 0x20000, 0x3FFFD } };
    if (in_ranges(code, none, sizeof none / sizeof none[0])) {
        return 0;
    }
    return in_ranges(code, wide, sizeof wide / sizeof wide[0]) ? 2 : 1;
}

size_t text_fit(const char *text, size_t columns)
{
    const char *at = text;
    size_t width = 0;
    while (*at != '\0') {
        uint32_t code = '?';
        const size_t decoded = decode(at, &code);
        width += code_width(code);
        if (width > columns) {
            break;
        }
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

static size_t least_of(size_t a, size_t b, size_t c)
{
    const size_t least = a < b ? a : b;
    return least < c ? least : c;
}

/* Levenshtein's distance, one row of the table at a time. */
size_t text_distance(const char *a, const char *b)
{
    const size_t rows = strnlen(a, DISTANCE_MOST);
    const size_t columns = strnlen(b, DISTANCE_MOST);
    size_t row[DISTANCE_MOST + 1];
    for (size_t j = 0; j <= columns; j++) {
        row[j] = j;
    }
    for (size_t i = 1; i <= rows; i++) {
        size_t diagonal = row[0];
        row[0] = i;
        for (size_t j = 1; j <= columns; j++) {
            const size_t above = row[j];
            row[j] = least_of(above + 1, row[j - 1] + 1, diagonal + (a[i - 1] != b[j - 1]));
            diagonal = above;
        }
    }
    return row[columns];
}

/* Marks, embeddings, overrides and isolates of writing direction. */
static bool steers_direction(uint32_t code)
{
    return code == 0x200E || code == 0x200F || (code >= 0x202A && code <= 0x202E) ||
           (code >= 0x2066 && code <= 0x2069);
}

char *text_tame(const char *text)
{
    static const char replacement[] = "\uFFFD"; /* as many bytes as each of those above */
    char *copy = memory_text(text);
    for (char *at = copy; *at != '\0';) {
        uint32_t code = 0;
        const size_t length = decode(at, &code);
        if (length == 0 || (code < 0x20 && code != '\n') || code == 0x7F) {
            *at++ = '?';
        } else {
            if (steers_direction(code)) {
                memcpy(at, replacement, sizeof replacement - 1);
            }
            at += length;
        }
    }
    return copy;
}
