/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "store_seal.h"

#include <math.h>
#include <string.h>

/* Room for the digits of any number of 64 bits. */
enum { DECIMAL = 20 };

void seal_begin(struct seal *seal, const uint8_t before[SEAL_SIZE], const char *kind)
{
    static const uint8_t nothing[SEAL_SIZE];
    sha256_init(&seal->context);
    sha256_update(&seal->context, SEAL_SIZE, before != NULL ? before : nothing);
    seal_text(seal, kind);
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

static void seal_field(struct seal *seal, char kind, const void *bytes, size_t length)
{
    char head[DECIMAL + 2];
    char *first = decimal(length, head + 1) - 1;
    *first = kind;
    head[DECIMAL + 1] = ':';
    sha256_update(&seal->context, (size_t)(head + sizeof head - first), (const uint8_t *)first);
    sha256_update(&seal->context, length, bytes);
}

void seal_bytes(struct seal *seal, const void *bytes, size_t length)
{
    if (bytes == NULL)
        seal_field(seal, 'n', "", 0);
    else
        seal_field(seal, 't', bytes, length);
}

void seal_text(struct seal *seal, const char *text)
{
    seal_bytes(seal, text, text != NULL ? strlen(text) : 0);
}

void seal_integer(struct seal *seal, int64_t number)
{
    char digits[DECIMAL + 1];
    uint64_t magnitude = number < 0 ? -(uint64_t)number : (uint64_t)number;
    char *first = decimal(magnitude, digits + 1);
    if (number < 0)
        *--first = '-';
    seal_field(seal, 'i', first, (size_t)(digits + sizeof digits - first));
}

void seal_real(struct seal *seal, double number)
{
    static const char hexadecimal[] = "0123456789abcdef";
    char digits[16];
    uint64_t bits;
    if (isnan(number)) {
        seal_bytes(seal, NULL, 0);
        return;
    }
    number += 0.0; /* the database keeps no sign of a zero */
    memcpy(&bits, &number, sizeof bits);
    for (size_t i = sizeof digits; i > 0; i--, bits >>= 4)
        digits[i - 1] = hexadecimal[bits & 0xf];
    seal_field(seal, 'r', digits, sizeof digits);
}

void seal_end(struct seal *seal, uint8_t digest[SEAL_SIZE])
{
    sha256_digest(&seal->context, SEAL_SIZE, digest);
}
