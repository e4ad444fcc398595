/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The wall clock, and its times as people write them: ISO 8601, Gregorian calendar, UTC. */
#ifndef GRADUS_DAEMON_WALL_CLOCK_H
#define GRADUS_DAEMON_WALL_CLOCK_H

#include "core/basics/moment.h"

/* The time now, as the machine's clock is set. */
struct wall_time wall_time_now(void);

/*
 * Reads a day "2026-01-31" (its beginning), or with a time "T23:59", ":59",
 * ".999999999" behind it, "Z" at the end or nothing. False, writing nothing,
 * for anything else and for years outside 1970 to 2261.
 */
bool wall_time_read(const char *text, struct wall_time *time);

#endif
