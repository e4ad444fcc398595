/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Reads a settings file and the profiles it names into a bench, strictly:
 * every mistake is listed as "file:line: what, expected what", all at once,
 * and nothing is opened while there is one.
 */
#ifndef GRADUS_DAEMON_SETTINGS_H
#define GRADUS_DAEMON_SETTINGS_H

#include "daemon/bench/bench.h"

/*
 * Returns a bench with one reference, or NULL with every mistake in
 * `problems`. Profiles are looked for in the folder the file names, relative
 * to the settings file.
 */
struct bench *settings_load(const char *path, struct problems *problems);

/* As settings_load(), from memory; `path` stands for the file. */
struct bench *settings_read(const char *text, size_t length, const char *path,
                            struct problems *problems);

/* Prints every key of a settings file: what it must be, and what it means. */
void settings_print_keys(FILE *out);

#endif
