/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "list.h"

#include "ask.h"
#include "tools/gradus/basics/status.h"
#include "tools/gradus/wire/fault.h"

static void show_table(const struct session *session, const json_t *items, const struct list *list)
{
    if (json_array_size(items) == 0) {
        terminal_print(session->terminal, stdout, "%s\n", list->none);
        return;
    }
    struct table *const table = table_new(list->table_columns);
    for (size_t i = 0; i < json_array_size(items); i++) {
        table_row(table);
        list->row(table, json_array_get(items, i));
    }
    table_print(table, session->terminal, stdout);
    table_free(table);
    for (size_t i = 0; list->notes != NULL && i < json_array_size(items); i++)
        list->notes(session, json_array_get(items, i));
}

int list_show(const struct session *session, const json_t *items, const struct list *list)
{
    if (!json_is_array(items)) {
        struct fault fault;
        ask_senseless(&fault, list->what);
        fault_explain(&fault, NULL, session->terminal);
        return fault.status;
    }
    if (!session->options->csv) {
        show_table(session, items, list);
        return STATUS_PASS;
    }
    csv_header(stdout, list->csv_columns);
    for (size_t i = 0; i < json_array_size(items); i++)
        csv_record(stdout, list->csv_columns, json_array_get(items, i));
    return STATUS_PASS;
}
