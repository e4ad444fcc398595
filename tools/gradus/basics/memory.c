/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "memory.h"

#include "status.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static void *must_have(void *pointer)
{
    if (pointer == NULL) {
        fputs("gradus: out of memory\n", stderr);
        exit(STATUS_NO_READING);
    }
    return pointer;
}

void *memory_zeroed(size_t count, size_t size)
{
    return must_have(calloc(count > 0 ? count : 1, size > 0 ? size : 1));
}

void *memory_resize(void *old, size_t count, size_t size)
{
    return must_have(reallocarray(old, count > 0 ? count : 1, size > 0 ? size : 1));
}

char *memory_text(const char *text)
{
    return must_have(strdup(text));
}
