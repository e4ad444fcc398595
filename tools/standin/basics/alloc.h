/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Memory for the bench. It is a test tool: when memory is short it says so and
 * ends, because a bench that goes on with half of itself proves nothing.
 */
#ifndef STANDIN_ALLOC_H
#define STANDIN_ALLOC_H

#include <stddef.h>

/* `count` zeroed elements; never NULL. Free with free(). */
void *alloc_new(size_t count, size_t size);

/* `old` made larger or smaller; never NULL. */
void *alloc_resize(void *old, size_t size);

/* Hands `pointer` back, or ends the program when it is NULL. */
void *alloc_checked(void *pointer);

#endif
