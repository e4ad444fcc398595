/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Readings again and again, of a place that is no point of the settings. */
#ifndef GRADUS_TOOLS_FOLLOW_H
#define GRADUS_TOOLS_FOLLOW_H

#include "tools/gradus/answers/command.h"

#include <jansson.h>

/*
 * Follows the point that `keys` make (taken over), called `name`, as `gradus follow` does a point.
 * Returns the exit status.
 */
int follow_place(const struct session *session, json_t *keys, const char *name);

#endif
