/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Reading a settings file whole, whatever stands in its place. */
#ifndef GRADUS_DRIVERS_SLURP_H
#define GRADUS_DRIVERS_SLURP_H

#include "problems.h"

#include <stdbool.h>
#include <stddef.h>

enum { SLURP_MAX = 4 * 1024 * 1024 };

/*
 * Reads a regular file of at most SLURP_MAX bytes. Folders, devices and pipes
 * are refused without waiting for them. NULL with the problem noted at
 * `file`:`line` (NULL, 0: no place) when it cannot be read. Free with free().
 */
char *slurp(const char *path, size_t *length, const char *file, int line,
            struct problems *problems);

#endif
