/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Handing a request to the daemon's program. All knowledge of settings, profiles
 * and instruments stays in it: a second reader of the same files would sooner
 * or later read them differently.
 */
#ifndef GRADUS_TOOLS_PROGRAM_H
#define GRADUS_TOOLS_PROGRAM_H

#include "tools/gradus/answers/command.h"

/*
 * Replaces this process with `gradusd OPTION OPERANDS...`. The program is
 * looked for beside this one, then in ../sbin and ../libexec from there, then
 * along PATH: beside comes first so that the two are of the same build.
 * Returns the exit status when there is no such program.
 */
int program_become(const struct session *session, const char *option);

/* As program_become(), with other words, a NULL after the last, behind the option. */
int program_become_with(const struct session *session, const char *option, char *const *rest);

#endif
