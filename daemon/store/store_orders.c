/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "store_orders.h"

#include "store_read.h"

#include <string.h>

struct orders {
    struct store_query query;
    struct bench_shop shop; /* as the settings were when it was asked */
};

static const char sql[] =
    "SELECT (SELECT json_extract(body, '$.job') FROM readings WHERE id = newest), first, last,"
    " count, failed, lost FROM (SELECT max(id) AS newest, min(time) AS first, max(time) AS last,"
    " count(*) AS count, sum(verdict IS 'fail') AS failed, sum(reason IS NOT NULL) AS lost"
    " FROM readings WHERE job IS NOT NULL"
    " GROUP BY job) ORDER BY newest LIMIT 1000";

static void encode_order(struct text *text, sqlite3_stmt *at)
{
    const char *order = store_read_text(at, 0);
    text_open(text, '{');
    text_key(text, "job");
    text_json(text, order, strlen(order));
    text_member_string(text, "first", store_read_text(at, 1));
    text_member_string(text, "last", store_read_text(at, 2));
    text_member_integer(text, "readings", sqlite3_column_int64(at, 3));
    text_member_integer(text, "failed", sqlite3_column_int64(at, 4));
    text_member_integer(text, "lost", sqlite3_column_int64(at, 5));
    text_close(text, '}');
}

static void encode_shop(struct text *text, const struct bench_shop *shop)
{
    if (shop->name[0] == '\0')
        return;
    text_member_open(text, "shop", '{');
    text_member_string(text, "name", shop->name);
    text_member_string(text, "address", shop->address);
    text_member_string(text, "logo", shop->logo);
    text_close(text, '}');
}

static bool read_orders(struct store_query *query, const struct store_look *look, bool *ended)
{
    const struct orders *asked = (const struct orders *)query;
    sqlite3_stmt *at = store_read_about(look->sqlite, sql, NULL, NULL);
    struct text *text = &query->text;
    int code = SQLITE_ERROR;
    (void)ended;
    text_open(text, '{');
    text_member_open(text, "jobs", '[');
    while (at != NULL && (code = sqlite3_step(at)) == SQLITE_ROW)
        encode_order(text, at);
    text_close(text, ']');
    encode_shop(text, &asked->shop);
    text_close(text, '}');
    sqlite3_finalize(at);
    return code == SQLITE_DONE || store_look_fail(look, &query->failure);
}

struct store_query *store_orders_new(const struct bench_shop *shop)
{
    struct orders *asked = store_query_new(sizeof *asked, read_orders);
    if (asked == NULL)
        return NULL;
    asked->shop = *shop;
    return &asked->query;
}
