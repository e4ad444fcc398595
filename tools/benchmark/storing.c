/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "storing.h"

#include "daemon/settings/settings.h"
#include "daemon/store/store.h"
#include "daemon/store/store_schema.h"
#include "stream.h"

#include <event2/event.h>
#include <sqlite3.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { ROWS = 10000, BATCH = 500, TURNS = 5 };

/* As long as the text of a reading by a meter is. */
static const char body_end[] =
    ",\"standard_uncertainty\":0.0003476154964248094,\"coverage_factor\":2,\"time\":\"2026-01-31T"
    "23:08:49.399Z\",\"sequence\":5,\"instrument\":{\"name\":\"meter\",\"identity\":\"TARNWERK,"
    "BENCH METER,"
    "100001,1.4\"},\"probe\":{\"name\":\"direct\",\"factor\":1,\"unit\":\"V\"},\"input\":1,"
    "\"range\":"
    "{\"full_scale\":20,\"at_tip\":20,\"resolution\":0.0001},\"raw\":5.0001,\"repeats\":1,"
    "\"limits\":{"
    "\"low\":4.5,\"high\":5.5,\"decision\":\"guarded\"},\"verdict\":\"pass\",\"budget\":[{"
    "\"source\":"
    "\"instrument accuracy\",\"standard\":0.000346414780315929,\"shape\":\"rectangular\","
    "\"sensitivity\":1},{\"source\":\"resolution\",\"standard\":2.8867513459481293e-05,\"shape\":"
    "\"rectangular\",\"sensitivity\":1}],\"steps\":[{\"full_scale\":20,\"outcome\":\"settled\","
    "\"raw\":5.0001}],\"warnings\":[]}";

/* What is left to become durable. */
struct countdown {
    struct event_base *base;
    int left;
};

static void on_durable(struct record *record)
{
    struct countdown *countdown = record->owner;
    if (--countdown->left == 0)
        event_base_loopbreak(countdown->base);
}

static void on_changed(void *context)
{
    give_up("the store in %s cannot be written", (const char *)context);
}

static struct record *make_record(struct bench *bench, int number)
{
    struct record *record = calloc(1, sizeof *record);
    if (record == NULL)
        give_up("no memory");
    record->kind = "reading";
    record->bench = bench_ref(bench);
    record->at.ns = number * MILLISECOND_NS;
    record->sequence = number;
    record->value = 5 + number * 1e-9;
    record->uncertainty = 0.0007;
    record->verdict = "pass";
    strcpy(record->time, "2026-01-31T23:08:49.399Z");
    strcpy(record->unit, "V");
    snprintf(record->point, sizeof record->point, "point_%d", number % 20);
    snprintf(record->instrument, sizeof record->instrument, "meter");
    snprintf(record->identity, sizeof record->identity, "TARNWERK,BENCH METER,100001,1.4");
    text_open(&record->body, '{');
    text_member_number(&record->body, "value", record->value);
    text_raw(&record->body, body_end, sizeof body_end - 1);
    return record;
}

static double store_rate(const char *path, struct bench *bench)
{
    struct countdown countdown = { event_base_new(), ROWS };
    struct bench_store settings = { .hold = ROWS };
    struct failure failure = { 0 };
    static struct record *records[ROWS];
    struct mailbox *mailbox = mailbox_new(countdown.base);
    snprintf(settings.path, sizeof settings.path, "%s", path);
    const struct store_hooks hooks = { settings.path, on_changed };
    struct store *store = store_new(&settings, mailbox, &hooks, &failure);
    if (store == NULL)
        give_up("%s", failure.what);
    for (int i = 0; i < ROWS; i++) {
        records[i] = make_record(bench, i);
        records[i]->done = on_durable;
        records[i]->owner = &countdown;
    }
    double begin = seconds_now();
    for (int i = 0; i < ROWS; i++)
        if (!store_append(store, records[i]))
            give_up("the store refused a reading");
    event_base_dispatch(countdown.base);
    double seconds = seconds_now() - begin;
    store_free(store);
    mailbox_free(mailbox);
    event_base_free(countdown.base);
    return ROWS / seconds;
}

static void execute(sqlite3 *sqlite, const char *statements)
{
    if (sqlite3_exec(sqlite, statements, NULL, NULL, NULL) != SQLITE_OK)
        give_up("%s: %s", statements, sqlite3_errmsg(sqlite));
}

static void insert(sqlite3_stmt *statement, const struct record *record, int id)
{
    static const char digest[32];
    sqlite3_bind_int64(statement, 1, id);
    sqlite3_bind_text(statement, 2, record->point, -1, SQLITE_STATIC);
    sqlite3_bind_text(statement, 3, record->time, -1, SQLITE_STATIC);
    sqlite3_bind_int64(statement, 4, record->at.ns);
    sqlite3_bind_int64(statement, 5, record->sequence);
    sqlite3_bind_double(statement, 6, record->value);
    sqlite3_bind_double(statement, 7, record->uncertainty);
    sqlite3_bind_text(statement, 8, record->unit, -1, SQLITE_STATIC);
    sqlite3_bind_text(statement, 9, record->verdict, -1, SQLITE_STATIC);
    sqlite3_bind_blob(statement, 10, digest, sizeof digest, SQLITE_STATIC);
    sqlite3_bind_text(statement, 11, record->body.bytes, (int)record->body.length, SQLITE_STATIC);
    if (sqlite3_step(statement) != SQLITE_DONE || sqlite3_reset(statement) != SQLITE_OK)
        give_up("an insert failed");
}

static double bare_rate(const char *path, struct bench *bench)
{
    sqlite3 *sqlite = NULL;
    sqlite3_stmt *statement = NULL;
    static struct record *records[ROWS];
    for (int i = 0; i < ROWS; i++)
        records[i] = make_record(bench, i);
    if (sqlite3_open(path, &sqlite) != SQLITE_OK)
        give_up("%s: %s", path, sqlite3_errmsg(sqlite));
    execute(sqlite, "PRAGMA journal_mode = WAL; PRAGMA synchronous = FULL;");
    execute(sqlite, store_schema);
    sqlite3_prepare_v2(sqlite,
                       "INSERT INTO readings (id, point, time, time_ns, sequence, value,"
                       " uncertainty, unit, verdict, settings, instrument, version, digest, body)"
                       " VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, 1, 1, 1, ?, ?)",
                       -1, &statement, NULL);
    double begin = seconds_now();
    for (int i = 0; i < ROWS; i++) {
        if (i % BATCH == 0)
            execute(sqlite, "BEGIN IMMEDIATE");
        insert(statement, records[i], i + 1);
        if (i % BATCH == BATCH - 1)
            execute(sqlite, "COMMIT");
    }
    double seconds = seconds_now() - begin;
    sqlite3_finalize(statement);
    sqlite3_close(sqlite);
    for (int i = 0; i < ROWS; i++)
        record_free(records[i]);
    return ROWS / seconds;
}

void benchmark_storing(const char *folder, const char *settings)
{
    struct problems problems = { 0 };
    struct bench *bench = settings_load(settings, &problems);
    double bare = 0, store = 0;
    char path[512];
    if (bench == NULL)
        give_up("%s: mistakes in the settings", settings);
    for (int i = 0; i < TURNS; i++) {
        snprintf(path, sizeof path, "%s/bare-%d.db", folder, i);
        bare += bare_rate(path, bench) / TURNS;
        snprintf(path, sizeof path, "%s/store-%d.db", folder, i);
        store += store_rate(path, bench) / TURNS;
    }
    bench_unref(bench);
    printf("durable readings/s of the store over bare inserts in batches of %d: %.3f (%.0f over "
           "%.0f)\n",
           BATCH, store / bare, store, bare);
}
