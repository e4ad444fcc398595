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
 *
 * Where the problems are guarded, file and folder have to be root's or this
 * process's own, and nobody else's to write; a folder such as /tmp, in which
 * nobody can take the place of another's file, will do.
 */
char *slurp(const char *path, size_t *length, const char *file, int line,
            struct problems *problems);

/* Whether two paths lead to one file. */
bool slurp_same_file(const char *one, const char *other);

/*
 * Whether a file goes by a name of settings, links followed: mistakes show
 * what stands there, and of other files that is nobody's business. If not,
 * that is a problem at `file`:`line`.
 */
bool slurp_is_settings(const char *path, const char *file, int line, struct problems *problems);

#endif
