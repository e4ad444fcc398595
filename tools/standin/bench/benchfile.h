/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The bench file (libconfig): lists `instruments`, `sources` and
 * `connections` of groups with the same fields as on the control socket
 * (a source's name is `name` here), and an optional `seed`.
 */
#ifndef STANDIN_BENCHFILE_H
#define STANDIN_BENCHFILE_H

#include "bench.h"

#include <libconfig.h>
#include <stdbool.h>

/* Opens and parses; false with `path:line: what is wrong`. `file` must be destroyed either way. */
bool benchfile_read(config_t *file, const char *path, struct problem *problem);

/* The file's seed, 1 when it has none. */
bool benchfile_seed(const config_t *file, uint64_t *seed, struct problem *problem);

/* Puts everything in the file onto the bench; stops at the first problem, told with its line. */
bool benchfile_apply(const config_t *file, struct bench *bench, struct problem *problem);

#endif
