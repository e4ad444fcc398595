/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The store of readings against bare SQLite: the same rows into the same
 * tables with the same flushes, without queue, thread, chain of digests and
 * references. It appends to the store itself, because through the socket the
 * instruments would be the slower part.
 */
#ifndef GRADUS_TOOLS_BENCHMARK_STORING_H
#define GRADUS_TOOLS_BENCHMARK_STORING_H

/* Prints its line; databases are made in `folder`. `settings` is a file whose bench has a point. */
void benchmark_storing(const char *folder, const char *settings);

#endif
