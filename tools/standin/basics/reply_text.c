/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "reply_text.h"

#include "alloc.h"

#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static void reserve(struct text *text, size_t more)
{
    size_t needed = text->count + more;

    if (needed > text->capacity) {
        text->capacity = needed < 256 ? 256 : 2 * needed;
        text->bytes = alloc_resize(text->bytes, text->capacity);
    }
}

void text_add(struct text *text, const void *bytes, size_t count)
{
    reserve(text, count);
    memcpy(text->bytes + text->count, bytes, count);
    text->count += count;
}

void text_print(struct text *text, const char *format, ...)
{
    char piece[256];
    va_list arguments;

    va_start(arguments, format);
    int length = vsnprintf(piece, sizeof piece, format, arguments);
    va_end(arguments);
    if (length > 0)
        text_add(text, piece, (size_t)length < sizeof piece ? (size_t)length : sizeof piece - 1);
}

void text_clear(struct text *text)
{
    free(text->bytes);
    *text = (struct text) { 0 };
}
