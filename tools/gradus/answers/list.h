/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Showing a list of objects as a table or as CSV; a subcommand says which
 * columns there are and how a row is filled.
 */
#ifndef GRADUS_TOOLS_LIST_H
#define GRADUS_TOOLS_LIST_H

#include "command.h"
#include "csv.h"
#include "tools/gradus/screen/table.h"

#include <jansson.h>

struct list {
    const char *what; /* for the message when the daemon's answer is something else */
    const char *none; /* what people are told when there is nothing in it */
    const struct csv_column *csv_columns;
    const struct table_column *table_columns;
    void (*row)(struct table *table, const json_t *item); /* fills the row that was begun */
    void (*notes)(const struct session *session, const json_t *item); /* below the table; or NULL */
};

/* Shows the list. Returns the exit status. */
int list_show(const struct session *session, const json_t *items, const struct list *list);

#endif
