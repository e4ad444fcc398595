/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "store_page.h"

#include "daemon/encode/encode.h"
#include "store_read.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* A row that is not what was written has no value. */
static void encode_row(struct text *text, const struct store_row *row, bool intact)
{
    text_open(text, '{');
    text_member_integer(text, "id", row->id);
    text_member_string(text, "point", row->point);
    text_member_string(text, "time", row->time);
    text_member_string(text, "run", row->run);
    if (row->round > 0)
        text_member_integer(text, "round", row->round);
    text_member_string(text, "settings_digest", row->settings_digest);
    text_member_string(text, "version", row->version);
    if (!intact) {
        struct failure failure = { 0 };
        failure_set(&failure, FAILURE_SYSTEM, NULL, "the row as it was written",
                    "row %lld of the store was altered", (long long)row->id);
        text_key(text, "error");
        encode_error(text, &failure, NULL, NULL, NULL);
    } else {
        text_key(text, row->reason != NULL ? "error" : "reading");
        text_json(text, row->body, strlen(row->body));
    }
    text_close(text, '}');
}

/* Bounds of ids from the index of times, so that only rows within them are looked at. */
#define FILTER                                                                                     \
    "WHERE readings.id > ?1 AND readings.id < ?2 AND time_ns BETWEEN ?3 AND ?4"                    \
    " AND (?5 IS NULL OR point = ?5) AND (?6 IS NULL OR run = ?6)"
#define SINCE                                                                                      \
    " AND (?3 = -9223372036854775807 - 1 OR readings.id >="                                        \
    " (SELECT min(id) FROM readings INDEXED BY readings_time WHERE time_ns >= ?3))"
#define UNTIL                                                                                      \
    " AND (?4 = 9223372036854775807 OR readings.id <="                                             \
    " (SELECT max(id) FROM readings INDEXED BY readings_time WHERE time_ns <= ?4))"

static sqlite3_stmt *prepare_page(sqlite3 *sqlite, const struct store_page *query)
{
    static const char oldest[] = " ORDER BY readings.id LIMIT ?7";
    static const char newest[] = " ORDER BY readings.id DESC LIMIT ?7";
    char sql[2048];
    snprintf(sql, sizeof sql, "%s%s%s%s", FILTER SINCE UNTIL,
             query->job[0] != '\0' ? " AND job = ?8" : "",
             query->serial[0] != '\0' ? " AND serial = ?9" : "",
             query->after >= 0 ? oldest : newest);
    sqlite3_stmt *statement = store_read_rows(sqlite, sql);
    if (statement == NULL)
        return NULL;
    sqlite3_bind_int64(statement, 1, query->after);
    sqlite3_bind_int64(statement, 2, query->before);
    sqlite3_bind_int64(statement, 3, query->since.ns);
    sqlite3_bind_int64(statement, 4, query->until.ns);
    sqlite3_bind_text(statement, 5, query->point[0] != '\0' ? query->point : NULL, -1,
                      SQLITE_STATIC);
    sqlite3_bind_text(statement, 6, query->run[0] != '\0' ? query->run : NULL, -1, SQLITE_STATIC);
    sqlite3_bind_int64(statement, 7, (int64_t)query->limit + 1);
    if (query->job[0] != '\0')
        sqlite3_bind_text(statement, 8, query->job, -1, SQLITE_STATIC);
    if (query->serial[0] != '\0')
        sqlite3_bind_text(statement, 9, query->serial, -1, SQLITE_STATIC);
    return statement;
}

/* The rows of a page, each as a text, in the order they were found. */
struct page {
    struct text rows[QUERY_MOST];
    size_t count;
    size_t bytes;
    bool more;
};

static bool read_rows(sqlite3 *sqlite, const struct store_page *query, sqlite3_stmt *statement,
                      struct page *page)
{
    struct store_row row;
    int code;
    while ((code = sqlite3_step(statement)) == SQLITE_ROW) {
        if (page->count == query->limit || page->bytes > QUERY_BYTES) {
            page->more = true;
            return true;
        }
        const uint8_t *digest = store_read_row(statement, &row);
        struct text *text = &page->rows[page->count++];
        encode_row(text, &row, store_read_is_intact(sqlite, &row, digest));
        page->bytes += text->length;
        if (text->failed)
            return false;
    }
    return code == SQLITE_DONE;
}

/* Newest last, whichever end they were read from. */
static void encode_page(struct text *text, const struct page *page, bool newest_first)
{
    text_open(text, '{');
    text_member_open(text, "readings", '[');
    for (size_t i = 0; i < page->count; i++) {
        const struct text *row = &page->rows[newest_first ? page->count - 1 - i : i];
        text_json(text, row->bytes, row->length);
    }
    text_close(text, ']');
    text_member_bool(text, "more", page->more);
    text_close(text, '}');
}

/* Whether there is any reading of that point, however old. */
static bool is_kept(sqlite3 *sqlite, const char *point)
{
    sqlite3_stmt *at = store_read_about(
        sqlite, "SELECT EXISTS (SELECT 1 FROM readings WHERE point = ?1)", point, NULL);
    bool kept = sqlite3_step(at) != SQLITE_ROW || sqlite3_column_int(at, 0) != 0;
    sqlite3_finalize(at);
    return kept;
}

static bool read_page(struct store_query *query, const struct store_look *look, bool *ended)
{
    const struct store_page *asked = (const struct store_page *)query;
    struct page *page = calloc(1, sizeof *page);
    (void)ended;
    if (page == NULL)
        return failure_no_memory(&query->failure, "a page");
    sqlite3_stmt *statement = prepare_page(look->sqlite, asked);
    bool read = statement != NULL && read_rows(look->sqlite, asked, statement, page);
    if (read && page->count == 0 && asked->strange && !is_kept(look->sqlite, asked->point))
        read = failure_set(&query->failure, FAILURE_UNKNOWN_POINT, NULL, asked->guess,
                           "neither the settings nor the store has a point %s", asked->point);
    else if (read)
        encode_page(&query->text, page, asked->after < 0);
    else
        store_look_fail(look, &query->failure);
    sqlite3_finalize(statement);
    for (size_t i = 0; i < page->count; i++)
        text_free(&page->rows[i]);
    free(page);
    return read;
}

struct store_page *store_page_new(void)
{
    struct store_page *page = store_query_new(sizeof *page, read_page);
    if (page == NULL)
        return NULL;
    page->since = WALL_TIME_FIRST;
    page->until = WALL_TIME_LAST;
    page->after = -1;
    page->before = INT64_MAX;
    page->limit = QUERY_MOST;
    return page;
}
