/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "program.h"

static int run_try(const struct session *session)
{
    return program_become(session, "--try");
}

const struct command command_try = {
    .name = "try",
    .arguments = "PROFILE LINK [--yes] [--standard] [--baud N] [--framing 8N1] [--flow KIND]",
    .summary = "run a profile against the real instrument",
    .usage =
        "Shows each exchange with its time, and what the profile gets wrong. Without --yes it\n"
        "only identifies the instrument and reads its error queue; with it, it goes through\n"
        "every function, range and input: disconnect the leads, or make sure that no setting\n"
        "can do harm. All words after \"try\" go to gradusd --try, looked for beside gradus,\n"
        "in ../sbin, ../libexec and PATH: only the daemon's program knows instruments.\n"
        "Exit status: 0 no problems, 1 problems, 2 usage or a mistake in the profile,\n"
        "3 no instrument.\n",
    .least = 2,
    .most = -1,
    .passes_on = true,
    .run = run_try,
};
