/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The wall clock, and its times as people write them: ISO 8601, Gregorian calendar, UTC. */
#ifndef GRADUS_DAEMON_WALL_CLOCK_H
#define GRADUS_DAEMON_WALL_CLOCK_H

#include "core/basics/moment.h"

/* The time now, as the machine's clock is set. */
struct wall_time wall_time_now(void);

/*
 * Whether a time server, or whatever else the kernel was told of, keeps the clock right now
 * (adjtimex(2): STA_UNSYNC). False where that cannot be told.
 */
bool wall_clock_is_synchronised(void);

/* How long ago the machine was started, by a clock that counts suspend and that nobody sets. */
struct duration machine_up(void);

/*
 * Reads a day "2026-01-31" (its beginning), or with a time "T23:59", ":59",
 * ".999999999" behind it, "Z" at the end or nothing. False, writing nothing,
 * for anything else and for years outside 1970 to 2261.
 */
bool wall_time_read(const char *text, struct wall_time *time);

#endif
