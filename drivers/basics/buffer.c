/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "buffer.h"

#include <stdlib.h>

bool buffer_reserve(struct buffer *buffer, size_t capacity, struct failure *failure)
{
    char *bytes;

    if (capacity <= buffer->capacity)
        return true;
    if (capacity < 2 * buffer->capacity)
        capacity = 2 * buffer->capacity;
    bytes = realloc(buffer->bytes, capacity + 1);
    if (!bytes)
        return failure_set(failure, FAILURE_NO_MEMORY, NULL, NULL, "no memory for %zu bytes",
                           capacity);
    buffer->bytes = bytes;
    buffer->capacity = capacity;
    return true;
}
