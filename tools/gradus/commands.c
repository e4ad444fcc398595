/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "commands.h"

#include "core/basics/nearest.h"

const struct command *const *command_list(void)
{
    static const struct command *const list[] = { &command_read,       &command_measure,
                                                  &command_follow,     &command_capture,
                                                  &command_catch,      &command_explain,
                                                  &command_agree,      &command_unload,
                                                  &command_compensate, &command_zero,
                                                  &command_walk,       &command_diagnose,
                                                  &command_learn,      &command_readings,
                                                  &command_jobs,       &command_prune,
                                                  &command_burnin,     &command_points,
                                                  &command_health,     &command_instruments,
                                                  &command_check,      &command_token,
                                                  &command_try,        &command_talk,
                                                  &command_help,       NULL };
    return list;
}

const char *command_nearest(const char *name)
{
    struct nearest nearest = { 0 };
    for (const struct command *const *at = command_list(); *at != NULL; at++)
        nearest_offer(&nearest, name, (*at)->name);
    return nearest.word;
}
