/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "program.h"

static int run_token(const struct session *session)
{
    return program_become(session, "--token");
}

const struct command command_token = {
    .name = "token",
    .arguments = "FILE NAME ROLE [DAYS]",
    .summary = "make a token for a client over TCP",
    .usage =
        "Makes 256 random bits for a client called NAME, which may do what the ROLE says (look,\n"
        "measure, run, administer) for so many DAYS (default 365), and prints them: once, they\n"
        "are kept nowhere. The FILE, which access.tokens of the settings names, gets a line with\n"
        "their SHA-256; SIGHUP makes the daemon read it. To take a token back remove its line.\n"
        "The client finds it in the file that GRADUS_TOKEN_FILE names, or in GRADUS_TOKEN.\n"
        "Needs no daemon: it runs gradusd --token, looked for as gradus check does.\n",
    .least = 3,
    .most = 4,
    .run = run_token,
};
