/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "command.h"

#include <string.h>

const struct command *command_find(const struct command *const *list, const char *name)
{
    for (; *list != NULL; list++)
        if (strcmp(name, (*list)->name) == 0)
            return *list;
    return NULL;
}
