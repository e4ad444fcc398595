/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "printable.h"

#include <stdio.h>
#include <string.h>

static size_t escape(unsigned char byte, char out[5])
{
    static const char plain[] = "\\\r\n\t";
    static const char letters[] = "\\rnt";
    const char *found = byte ? strchr(plain, byte) : NULL;

    if (found)
        return (size_t)snprintf(out, 5, "\\%c", letters[found - plain]);
    if (byte >= 0x20 && byte <= 0x7e)
        return (size_t)snprintf(out, 5, "%c", byte);
    return (size_t)snprintf(out, 5, "\\x%02X", byte);
}

char *printable(const char *bytes, size_t count, char *text, size_t size)
{
    static const char dots[] = "...";
    size_t room = size - sizeof dots;
    size_t used = 0;

    for (size_t i = 0; i < count; i++) {
        char shown[5];
        size_t length = escape((unsigned char)bytes[i], shown);

        if (used + length > room) {
            memcpy(text + used, dots, sizeof dots);
            return text;
        }
        memcpy(text + used, shown, length);
        used += length;
    }
    text[used] = '\0';
    return text;
}
