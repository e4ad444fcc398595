/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "alloc.h"

#include <err.h>
#include <stdlib.h>

void *alloc_checked(void *pointer)
{
    if (pointer == NULL)
        err(EXIT_FAILURE, "standin");
    return pointer;
}

void *alloc_new(size_t count, size_t size)
{
    return alloc_checked(calloc(count, size));
}

void *alloc_resize(void *old, size_t size)
{
    return alloc_checked(realloc(old, size));
}
