/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "run_list.h"

#include "daemon/store/store_read.h"
#include "run_record.h"

#include <string.h>

static bool finish(sqlite3 *sqlite, sqlite3_stmt *at, struct failure *failure)
{
    bool done = sqlite3_finalize(at) == SQLITE_OK && at != NULL;
    return done || store_read_fail(sqlite, failure);
}

bool store_read_runs(sqlite3 *sqlite, struct store_query *query)
{
    sqlite3_stmt *at =
        store_read_about(sqlite,
                         "SELECT began.subject, json_extract(began.body, '$.plan'), began.time,"
                         " ended.time, json_extract(ended.body, '$.why') FROM events AS began"
                         " LEFT JOIN events AS ended ON ended.kind = 'run ended'"
                         " AND ended.subject = began.subject"
                         " WHERE began.kind = 'run began' ORDER BY began.id",
                         NULL, NULL);
    struct text *text = &query->text;
    text_open(text, '{');
    text_key(text, "runs");
    text_open(text, '[');
    while (at != NULL && sqlite3_step(at) == SQLITE_ROW) {
        text_open(text, '{');
        text_member_string(text, "run", store_read_text(at, 0));
        text_member_string(text, "plan", store_read_text(at, 1));
        text_member_string(text, "began", store_read_text(at, 2));
        text_member_string(text, "ended", store_read_text(at, 3));
        text_member_string(text, "why", store_read_text(at, 4));
        text_close(text, '}');
    }
    text_close(text, ']');
    text_close(text, '}');
    return finish(sqlite, at, &query->failure);
}

/* An event: its place, its time, its kind, and what it says. */
static void encode_event(struct text *text, sqlite3_stmt *at)
{
    const char *body = store_read_text(at, 3);
    text_open(text, '{');
    text_member_integer(text, "id", sqlite3_column_int64(at, 0));
    text_member_string(text, "time", store_read_text(at, 1));
    text_member_string(text, "kind", store_read_text(at, 2));
    if (body[0] != '\0') {
        text_key(text, "body");
        text_json(text, body, strlen(body));
    }
    text_close(text, '}');
}

static bool read_events(sqlite3 *sqlite, struct store_query *query, const char *run)
{
    sqlite3_stmt *at = store_read_about(sqlite,
                                        "SELECT id, time, kind, body FROM events WHERE subject = ?1"
                                        " AND id > ?2 ORDER BY id LIMIT ?3",
                                        run, NULL);
    struct text *text = &query->text;
    size_t count = 0;
    sqlite3_bind_int64(at, 2, query->after);
    sqlite3_bind_int64(at, 3, (int64_t)query->limit + 1);
    text_open(text, '{');
    text_member_string(text, "run", run);
    text_key(text, "events");
    text_open(text, '[');
    bool more = false;
    while (at != NULL && !more && sqlite3_step(at) == SQLITE_ROW) {
        more = count++ == query->limit || text->length > QUERY_BYTES;
        if (!more)
            encode_event(text, at);
    }
    text_close(text, ']');
    text_member_bool(text, "more", more);
    text_close(text, '}');
    return finish(sqlite, at, &query->failure);
}

bool store_read_events(sqlite3 *sqlite, struct store_query *query)
{
    struct run_record record = { 0 };
    bool read = run_record_read(sqlite, query->run, &record, &query->failure) &&
                read_events(sqlite, query, record.run);
    run_record_end(&record);
    return read;
}
