/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Memory for a short-lived command: when there is none left, the command
 * says so and ends with the status of "no reading could be had". Nothing it
 * does outlives it, so there is nothing to put in order first.
 */
#ifndef GRADUS_TOOLS_MEMORY_H
#define GRADUS_TOOLS_MEMORY_H

#include <stddef.h>

/* `count` zeroed elements of `size` bytes; never NULL. Free with free(). */
void *memory_zeroed(size_t count, size_t size);

/* As reallocarray(3); never NULL. */
void *memory_resize(void *old, size_t count, size_t size);

/* A copy of `text`; never NULL. Free with free(). */
char *memory_text(const char *text);

#endif
