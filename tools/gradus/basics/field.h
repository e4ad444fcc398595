/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Members of what the daemon answered, by path: "range.at_tip" is the member
 * "at_tip" of the member "range". What is absent or of another type reads as
 * "not there", never as zero.
 */
#ifndef GRADUS_TOOLS_FIELD_H
#define GRADUS_TOOLS_FIELD_H

#include <jansson.h>
#include <stdbool.h>

/* The value at a path, borrowed; NULL when it is not there. */
const json_t *field_at(const json_t *object, const char *path);

/* The text at a path, borrowed; NULL when there is none. */
const char *field_text(const json_t *object, const char *path);

/* As field_text(), "" when there is none. */
const char *field_text_or_empty(const json_t *object, const char *path);

/* The number at a path; NAN when there is none. */
double field_number(const json_t *object, const char *path);

/* Whether the value at a path is true. */
bool field_true(const json_t *object, const char *path);

#endif
