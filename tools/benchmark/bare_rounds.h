/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Rounds over many instruments by a bare loop in one thread: what no daemon can be faster than. */
#ifndef GRADUS_TOOLS_BENCHMARK_BARE_ROUNDS_H
#define GRADUS_TOOLS_BENCHMARK_BARE_ROUNDS_H

#include <stddef.h>

enum { BARE_INSTRUMENTS = 256, BARE_INPUTS = 4 };

/*
 * Reads BARE_INPUTS inputs of BARE_INSTRUMENTS instruments, all at the same
 * time, `rounds` times, each other round backwards, and gives each relay the
 * time to settle that the profile names. The instruments listen at the
 * sockets PREFIX0, PREFIX1 and so on. Returns the seconds of the median round.
 */
double bare_rounds(const char *prefix, size_t rounds);

#endif
