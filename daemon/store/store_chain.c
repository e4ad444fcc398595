/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "store_chain.h"

#include <math.h>
#include <string.h>

/* Room for the digits of any number of 64 bits. */
enum { DECIMAL = 20 };

void chain_begin(struct chain_link *link, const uint8_t before[CHAIN_SIZE], const char *kind)
{
    static const uint8_t nothing[CHAIN_SIZE];
    sha256_init(&link->context);
    sha256_update(&link->context, CHAIN_SIZE, before != NULL ? before : nothing);
    chain_text(link, kind);
}

/* Writes a number in decimal at the end of `text`; where it begins. Much is digested, hence no printf. */
static char *decimal(uint64_t number, char text[DECIMAL])
{
    char *first = text + DECIMAL;
    do {
        *--first = (char)('0' + number % 10);
        number /= 10;
    } while (number > 0);
    return first;
}

static void chain_field(struct chain_link *link, char kind, const void *bytes, size_t length)
{
    char head[DECIMAL + 2];
    char *first = decimal(length, head + 1) - 1;
    *first = kind;
    head[DECIMAL + 1] = ':';
    sha256_update(&link->context, (size_t)(head + sizeof head - first), (const uint8_t *)first);
    sha256_update(&link->context, length, bytes);
}

void chain_bytes(struct chain_link *link, const void *bytes, size_t length)
{
    if (bytes == NULL)
        chain_field(link, 'n', "", 0);
    else
        chain_field(link, 't', bytes, length);
}

void chain_text(struct chain_link *link, const char *text)
{
    chain_bytes(link, text, text != NULL ? strlen(text) : 0);
}

void chain_integer(struct chain_link *link, int64_t number)
{
    char digits[DECIMAL + 1];
    uint64_t magnitude = number < 0 ? -(uint64_t)number : (uint64_t)number;
    char *first = decimal(magnitude, digits + 1);
    if (number < 0)
        *--first = '-';
    chain_field(link, 'i', first, (size_t)(digits + sizeof digits - first));
}

void chain_real(struct chain_link *link, double number)
{
    static const char hexadecimal[] = "0123456789abcdef";
    char digits[16];
    uint64_t bits;
    if (isnan(number)) {
        chain_bytes(link, NULL, 0);
        return;
    }
    number += 0.0; /* the database keeps no sign of a zero */
    memcpy(&bits, &number, sizeof bits);
    for (size_t i = sizeof digits; i > 0; i--, bits >>= 4)
        digits[i - 1] = hexadecimal[bits & 0xf];
    chain_field(link, 'r', digits, sizeof digits);
}

void chain_end(struct chain_link *link, uint8_t digest[CHAIN_SIZE])
{
    sha256_digest(&link->context, CHAIN_SIZE, digest);
}
