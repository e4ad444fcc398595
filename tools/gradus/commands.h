/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The subcommands that there are. */
#ifndef GRADUS_TOOLS_COMMANDS_H
#define GRADUS_TOOLS_COMMANDS_H

#include "tools/gradus/answers/command.h"

extern const struct command command_measure, command_explain, command_capture, command_catch,
    command_points, command_instruments, command_follow, command_check, command_token, command_try,
    command_health, command_talk, command_prune, command_readings, command_burnin, command_agree,
    command_unload, command_compensate, command_zero, command_walk, command_read, command_diagnose,
    command_jobs, command_learn, command_help;

/* All of them, in the order of the help text; NULL after the last. */
const struct command *const *command_list(void);

/* The name of a subcommand that `name` may have been meant to be, or NULL. */
const char *command_nearest(const char *name);

#endif
