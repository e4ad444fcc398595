/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The subcommands: each is one file with one descriptor, and command.c lists
 * them. Adding one is writing its file and adding a line to that list.
 */
#ifndef GRADUS_TOOLS_COMMAND_H
#define GRADUS_TOOLS_COMMAND_H

#include "tools/gradus/basics/options.h"
#include "tools/gradus/screen/terminal.h"

#include <stdbool.h>
#include <stddef.h>

/* What a subcommand works with. */
struct session {
    const struct options *options;
    const struct terminal *terminal;
    char **operands; /* NULL after the last */
    int operand_count;
};

struct command {
    const char *name;
    const char *arguments; /* as in the first line of its usage */
    const char *summary;   /* one line */
    const char *usage;     /* what it does and prints, more than the summary says */
    unsigned options;      /* that it takes besides the global ones */
    unsigned files;        /* options without a value that name a file behind the operand below */
    const char *filing;    /* first operand, behind which they do; NULL: none */
    int least;             /* operands */
    int most;              /* -1: any number */
    bool passes_on;        /* everything after its name is handed to another program as it is */
    int (*run)(const struct session *session); /* returns the exit status */
};

extern const struct command command_measure, command_explain, command_capture, command_points,
    command_instruments, command_follow, command_check, command_try, command_health, command_talk,
    command_readings, command_burnin, command_agree, command_unload, command_compensate,
    command_help;

/* All of them, in the order of the help text; NULL after the last. */
const struct command *const *command_list(void);

/* The subcommand of that name, or NULL. */
const struct command *command_find(const char *name);

/* The name of a subcommand that `name` may have been meant to be, or NULL. */
const char *command_nearest(const char *name);

#endif
