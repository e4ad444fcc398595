/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Moments as people write them: ISO 8601, Gregorian calendar, UTC. */
#ifndef GRADUS_DAEMON_WALL_CLOCK_H
#define GRADUS_DAEMON_WALL_CLOCK_H

#include <stdbool.h>
#include <stdint.h>
#include <time.h>

/*
 * Reads a day "2026-01-31" (its beginning), or with a time "T23:59", ":59",
 * ".999999999" behind it, "Z" at the end or nothing. Writes nanoseconds since
 * 1970-01-01T00:00Z; false, writing nothing, for anything else and for years
 * outside 1970 to 2261.
 */
bool moment_read(const char *text, int64_t *nanoseconds);

/* Nanoseconds since 1970, or of whichever clock the time is. */
int64_t moment_of(struct timespec time);

#endif
