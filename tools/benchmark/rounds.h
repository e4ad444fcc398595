/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Rounds of a burn-in over many instruments: how late they are, and what the daemon takes for them. */
#ifndef GRADUS_TOOLS_BENCHMARK_ROUNDS_H
#define GRADUS_TOOLS_BENCHMARK_ROUNDS_H

/*
 * Prints its lines.
 *
 * daemon  its socket
 * pid     of the daemon
 * plan    of a burn-in of BARE_INSTRUMENTS instruments with BARE_INPUTS points
 *         each, that ends by itself after a few rounds
 * prefix  of the instruments' sockets
 */
void benchmark_rounds(const char *daemon, const char *pid, const char *plan, const char *prefix);

#endif
