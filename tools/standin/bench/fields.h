/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Reads named fields out of a JSON object into a struct, by a table. Used for
 * the control socket and for the bench file alike, so that both know the same
 * names. A name that is not in the table, or a value of the wrong type, is a
 * problem, never ignored.
 */
#ifndef STANDIN_FIELDS_H
#define STANDIN_FIELDS_H

#include "tools/standin/basics/problem.h"

#include <jansson.h>
#include <stdbool.h>
#include <stddef.h>

enum field_type {
    FIELD_NUMBER, /* double, finite */
    FIELD_TEXT,   /* char[size], not empty */
    FIELD_WORD,   /* int: the index into `words` */
    FIELD_FLAG,   /* bool */
    FIELD_STEPS   /* struct source: its list of [after, change] */
};

struct field {
    const char *key;
    enum field_type type;
    size_t offset;
    size_t size;              /* FIELD_TEXT */
    const char *const *words; /* FIELD_WORD, NULL ends */
    unsigned only;            /* FIELD_KIND_x bits of the kinds that have it; 0: all */
};

/*
 * Stores each member of `object`. `kind_bit` is the bit of what is being read,
 * compared with `only`. Stops at the first problem; what came before it is
 * stored, so read into a copy.
 */
bool fields_read(json_t *object, const struct field *fields, size_t count, unsigned kind_bit,
                 void *target, struct problem *problem);

#endif
