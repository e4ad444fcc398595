/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Looking at files and saying what is wrong with them, without opening any link. */
#ifndef GRADUS_DAEMON_CHECK_H
#define GRADUS_DAEMON_CHECK_H

#include "daemon/bench/bench.h"

/*
 * Whether this process is root's, or is what a unit of the service manager runs: then settings
 * that others could write are a mistake.
 */
bool check_is_service(void);

/*
 * The bench of a settings file, to be released with bench_unref(), or NULL
 * once every mistake has been said on standard error, one a line. `guarded`
 * as in struct problems.
 */
struct bench *check_load(const char *path, bool guarded);

/*
 * Checks a settings file with the profiles it names, or a profile by itself:
 * the root of a profile has "kind" and no "instruments". Says the outcome;
 * whether there is no mistake.
 *
 * look  says more of a bench without mistakes
 */
bool check_file(const char *path, void (*look)(struct bench *bench));

#endif
