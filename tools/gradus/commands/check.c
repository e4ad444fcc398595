/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "program.h"

static int run_check(const struct session *session)
{
    return program_become(session, "--check");
}

const struct command command_check = {
    .name = "check",
    .arguments = "FILE",
    .summary = "check a settings file and the profiles it names",
    .usage = "Lists every mistake as file:line: what is wrong, and what was expected. Needs no\n"
             "daemon and opens no link. It runs gradusd --check, looked for beside gradus, in\n"
             "../sbin, ../libexec and PATH, so that settings are read in one place only.\n"
             "Exit status: 0 without a mistake, 2 with one.\n",
    .least = 1,
    .most = 1,
    .run = run_check,
};
