/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What was learnt of good units, as limits for the settings. */
#ifndef GRADUS_TOOLS_LEARN_H
#define GRADUS_TOOLS_LEARN_H

#include <jansson.h>
#include <stdbool.h>
#include <stdio.h>

/*
 * Writes limits to be pasted into the points of the settings, with what they rest on as
 * comments: "limits = { low = 4.9951; high = 5.0252; };". `units` names whose readings they are of.
 */
void learn_write(const json_t *result, const json_t *units, FILE *stream);

/* Whether a point of the result has limits proposed. */
bool learn_has_limits(const json_t *point);

#endif
