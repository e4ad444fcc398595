/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A growing run of bytes: the reply to one message, text or binary. */
#ifndef STANDIN_TEXT_H
#define STANDIN_TEXT_H

#include <stddef.h>

struct text {
    char *bytes;
    size_t count;
    size_t capacity;
};

/* Append bytes, or formatted text; a failure to allocate is kept for text_done(). */
void text_add(struct text *text, const void *bytes, size_t count);
void text_print(struct text *text, const char *format, ...) __attribute__((format(printf, 2, 3)));

/* Frees the bytes; the text is then empty and may be used again. */
void text_clear(struct text *text);

#endif
