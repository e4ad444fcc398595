/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Readings over a serial line: the daemon against a bare loop by libserialport, one after the other. */
#ifndef GRADUS_TOOLS_BENCHMARK_LINE_H
#define GRADUS_TOOLS_BENCHMARK_LINE_H

/*
 * Prints its line. The daemon must not have used the line yet: it keeps it.
 *
 * name    of the comparison
 * node    the serial port
 * daemon  the daemon's socket
 * point   one on the instrument behind that port
 * query   what the daemon sends for a reading, so that both carry the same bytes
 */
void benchmark_line(const char *name, const char *node, const char *daemon, const char *point,
                    const char *query);

#endif
