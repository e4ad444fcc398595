/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * What a subcommand is: one file with one descriptor. tools/gradus/commands.c
 * lists them; adding one is writing its file and a line of that list.
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
    const struct command *const
        *commands;   /* all there are, in the order of the help text; then NULL */
    char **operands; /* NULL after the last */
    int operand_count;
};

struct command {
    const char *name;
    const char *arguments; /* as in the first line of its usage */
    const char *summary;   /* one line */
    const char *usage;     /* what it does and prints, more than the summary says */
    uint64_t options;      /* that it takes besides the global ones */
    uint64_t files;        /* options without a value that name a file behind the operand below */
    const char *filing;    /* first operand, behind which they do; NULL: none */
    int least;             /* operands */
    int most;              /* -1: any number */
    bool passes_on;        /* everything after its name is handed to another program as it is */
    int (*run)(const struct session *session); /* returns the exit status */
};

/* The subcommand of that name in a list that ends with NULL; NULL when it has none. */
const struct command *command_find(const struct command *const *list, const char *name);

#endif
