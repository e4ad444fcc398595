/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Taking the command line apart: options anywhere, the first other word is
 * the subcommand, the rest are its operands; "--" ends the options.
 */
#ifndef GRADUS_TOOLS_ARGUMENTS_H
#define GRADUS_TOOLS_ARGUMENTS_H

#include "tools/gradus/answers/command.h"
#include "tools/gradus/basics/options.h"

#include <stdbool.h>

struct arguments {
    struct options options;
    const struct command *command; /* NULL: none was named */
    char **operands;               /* NULL after the last */
    int operand_count;
};

/*
 * Reads argv. Options are checked against the subcommand, and the number of
 * operands as well, unless help or the version is asked for. Operands are moved to the front
 * of argv, which `arguments` then points into. False with a sentence in
 * `problem` on any mistake.
 */
bool arguments_parse(int argc, char **argv, struct arguments *arguments, char *problem,
                     unsigned long problem_size);

#endif
