/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "store_case.h"

#include "daemon/settings/settings.h"
#include "daemon/store/store_read.h"

#include <event2/event.h>
#include <event2/thread.h>
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include <cmocka.h>

static const char settings_text[] =
    "profiles = \"" GRADUS_SOURCE "/config/profiles\";\n"
    "instruments = ( { name = \"fine\"; profile = \"tarnwerk-meter\"; link = \"tcp:a:1\"; } );\n"
    "points = ( { name = \"rail\"; instrument = \"fine\"; input = 1; probe = \"direct\";\n"
    "             quantity = \"dc voltage\"; } );\n";

int store_case_begin(void **state)
{
    struct problems problems = { 0 };
    struct store_case *it = calloc(1, sizeof *it);
    assert_non_null(it);
    strcpy(it->folder, "/tmp/store-case-XXXXXX");
    assert_non_null(mkdtemp(it->folder));
    snprintf(it->settings.path, sizeof it->settings.path, "%s/readings.db", it->folder);
    it->settings.hold = STORE_CASE_HOLD;
    it->settings.anchor_s = 0;
    it->bench = settings_read(settings_text, sizeof settings_text - 1, "test.cfg", &problems);
    assert_non_null(it->bench);
    it->base = event_base_new();
    it->mailbox = mailbox_new(it->base);
    assert_non_null(it->mailbox);
    *state = it;
    return 0;
}

static void on_changed(void *context)
{
    struct store_case *it = context;
    it->changes++;
}

bool store_case_open(struct store_case *it, struct failure *failure)
{
    const struct store_hooks hooks = { it, on_changed };
    it->store = store_new(&it->settings, it->mailbox, &hooks, failure);
    return it->store != NULL;
}

void store_case_close(struct store_case *it)
{
    store_stop(it->store);
    mailbox_open(it->mailbox);
    store_free(it->store);
    it->store = NULL;
}

int store_case_end(void **state)
{
    struct store_case *it = *state;
    char command[128];
    store_case_close(it);
    mailbox_free(it->mailbox);
    event_base_free(it->base);
    bench_unref(it->bench);
    snprintf(command, sizeof command, "rm -r %s", it->folder);
    assert_int_equal(system(command), 0);
    free(it);
    return 0;
}

static void on_durable(struct record *record)
{
    struct store_case *it = record->owner;
    assert_true(record->id > it->newest);
    it->newest = record->id;
    it->durable++;
}

bool store_case_append(struct store_case *it, double value, struct wall_time at, const char *run)
{
    static int64_t sequence;
    struct record *record = calloc(1, sizeof *record);
    assert_non_null(record);
    record->kind = "reading";
    record->bench = bench_ref(it->bench);
    record->at = at;
    record->sequence = ++sequence;
    record->value = value;
    record->uncertainty = 0.5;
    encode_time(record->time, at);
    strcpy(record->point, "rail");
    strcpy(record->unit, "V");
    strcpy(record->instrument, "fine");
    strcpy(record->identity, "MAKER,BENCH METER,1,1.0");
    strcpy(record->calibration_due, "2027-01-31");
    record->verdict = isnan(value) ? NULL : "pass";
    record->reason = isnan(value) ? "over range" : NULL;
    if (run != NULL)
        record_set_run(record, run, 1);
    text_open(&record->body, '{');
    text_member_number(&record->body, "value", value);
    text_close(&record->body, '}');
    record->done = on_durable;
    record->owner = it;
    if (store_append(it->store, record))
        return true;
    record_free(record);
    return false;
}

void store_case_until_durable(struct store_case *it, int count)
{
    while (it->durable < count)
        assert_int_equal(event_base_loop(it->base, EVLOOP_ONCE), 0);
}

void store_case_until_state(struct store_case *it, enum store_state state)
{
    while (store_view(it->store).state != state)
        assert_int_equal(event_base_loop(it->base, EVLOOP_ONCE), 0);
}

static sqlite3 *outside(struct store_case *it)
{
    sqlite3 *sqlite = NULL;
    assert_int_equal(sqlite3_open(it->settings.path, &sqlite), SQLITE_OK);
    sqlite3_busy_timeout(sqlite, 10000);
    return sqlite;
}

void store_case_sql(struct store_case *it, const char *statements)
{
    sqlite3 *sqlite = outside(it);
    char *message = NULL;
    if (sqlite3_exec(sqlite, statements, NULL, NULL, &message) != SQLITE_OK)
        fail_msg("%s: %s", statements, message);
    sqlite3_close(sqlite);
}

int64_t store_case_number(struct store_case *it, const char *statement)
{
    sqlite3 *sqlite = outside(it);
    sqlite3_stmt *prepared = NULL;
    assert_int_equal(sqlite3_prepare_v2(sqlite, statement, -1, &prepared, NULL), SQLITE_OK);
    assert_int_equal(sqlite3_step(prepared), SQLITE_ROW);
    int64_t number = sqlite3_column_int64(prepared, 0);
    sqlite3_finalize(prepared);
    sqlite3_close(sqlite);
    return number;
}

const char *store_case_verify(struct store_case *it, struct store_verify *verify)
{
    struct failure failure = { 0 };
    *verify = (struct store_verify) { 0 };
    while (!verify->ended) {
        struct store_look look;
        assert_true(store_look_open(&look, it->settings.path, &failure));
        assert_true(store_verify_walk(verify, look.sqlite, 3, &failure));
        store_look_close(&look);
    }
    return verify->what;
}
