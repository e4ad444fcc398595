/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Asking the daemon for readings, for the comparisons that do. */
#ifndef GRADUS_TOOLS_BENCHMARK_ASKING_H
#define GRADUS_TOOLS_BENCHMARK_ASKING_H

#include "stream.h"

/* Sends a request and makes sure that a result came of it; ends the program when none did. */
void ask(struct stream *daemon, const char *request);

/* Readings per second of one `measure` with about `readings` repeats, 1 to 10000. */
double repeat_rate(struct stream *daemon, const char *point, double readings);

#endif
