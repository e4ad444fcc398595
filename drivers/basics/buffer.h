/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Bytes that come in or go out, of a length that nobody knows beforehand. */
#ifndef GRADUS_DRIVERS_BUFFER_H
#define GRADUS_DRIVERS_BUFFER_H

#include "core/basics/failure.h"

#include <stdbool.h>
#include <stddef.h>

/* Bytes with room to grow; one byte more than `capacity` is always there for a NUL. */
struct buffer {
    char *bytes;
    size_t count;
    size_t capacity;
};

/*
 * Makes room for `capacity` bytes at least; what is there stays. False with
 * the failure set, and all as it was, when memory is short. The owner frees
 * buffer->bytes.
 */
bool buffer_reserve(struct buffer *buffer, size_t capacity, struct failure *failure);

#endif
