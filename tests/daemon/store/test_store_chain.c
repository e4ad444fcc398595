/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What the store holds, that it shows when that was tampered with, and what it removes by policy. */
#include "store_case.h"

#include "daemon/basics/wall_clock.h"
#include "daemon/store/store_page.h"
#include "daemon/store/store_read.h"

#include <event2/event.h>
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

static struct wall_time at(int64_t seconds)
{
    return (struct wall_time) { seconds * SECOND_NS };
}

/* Opens the store, appends readings of 1, 2, ... volts a second apart, waits, and closes it. */
static void fill(struct store_case *it, int count, struct wall_time first)
{
    struct failure failure = { 0 };
    int before = it->durable;
    assert_true(store_case_open(it, &failure));
    for (int i = 0; i < count; i++)
        assert_true(store_case_append(
            it, i + 1, wall_time_plus(first, (struct duration) { i * SECOND_NS }), NULL));
    store_case_until_durable(it, before + count);
    store_case_close(it);
}

static void test_intact(void **state)
{
    struct store_case *it = *state;
    struct store_verify verify;
    fill(it, 7, at(1000));
    assert_string_equal(store_case_verify(it, &verify), "");
    assert_int_equal(verify.readings, 7);
    assert_int_equal(verify.last, 7);
    fill(it, 3, at(2000));
    assert_string_equal(store_case_verify(it, &verify), "");
    assert_int_equal(verify.readings, 10);
    assert_int_equal(store_case_number(it, "SELECT count(*) FROM settings"), 1);
    assert_int_equal(store_case_number(it, "SELECT count(*) FROM instruments"), 1);
}

/* Numbers that the database might keep in another form than they were given. */
static void test_values_that_are_special(void **state)
{
    static const double values[] = { -0.0, 5.0, 0.1, 1e300, -1e-300, 4.9e-324, INFINITY, NAN };
    struct store_case *it = *state;
    struct failure failure = { 0 };
    struct store_verify verify;
    assert_true(store_case_open(it, &failure));
    for (size_t i = 0; i < sizeof values / sizeof values[0]; i++)
        assert_true(store_case_append(it, values[i], at(1), i % 2 ? "run" : NULL));
    store_case_until_durable(it, 8);
    assert_string_equal(store_case_verify(it, &verify), "");
    assert_int_equal(verify.readings, 8);
}

/* Each way of tampering, and what must be said of it. */
static void test_tampering(void **state)
{
    static const struct {
        const char *statement;
        const char *what;
        int64_t row;
    } cases[] = {
        { "UPDATE readings SET value = 2.0000000000000004 WHERE id = 2", "the row was altered", 2 },
        { "UPDATE readings SET body = '{\"value\":3}' WHERE id = 2", "the row was altered", 2 },
        { "UPDATE readings SET reason = 'x', value = NULL WHERE id = 5", "the row was altered", 5 },
        { "UPDATE readings SET uncertainty = NULL WHERE id = 1", "the row was altered", 1 },
        { "UPDATE instruments SET calibration_due = '2030-01-01'", "the row was altered", 1 },
        { "UPDATE versions SET version = '9'", "the row was altered", 1 },
        { "UPDATE settings SET text = text || ' '", "the settings with digest", 0 },
        { "UPDATE settings SET digest = 'x'", "the settings with digest", 0 },
        { "DELETE FROM settings", "the row was altered", 1 },
        { "DELETE FROM readings WHERE id = 1", "the row is missing", 1 },
        { "DELETE FROM readings WHERE id = 3", "the row is missing", 3 },
        { "DELETE FROM readings WHERE id = 5", "the row is missing", 5 },
        { "DELETE FROM readings", "the row is missing", 1 },
        { "UPDATE readings SET id = 6 WHERE id = 5", "the row is missing", 5 },
        { "DELETE FROM readings WHERE id = 5; UPDATE head SET last = 4",
          "the row is not the last one written", 4 },
        { "DELETE FROM readings WHERE id > 3; UPDATE head SET last = 3,"
          " digest = (SELECT digest FROM readings WHERE id = 3)",
          "rows up to 5 were there at ", 4 },
        { "DELETE FROM readings; UPDATE head SET last = 0", "the row is not the last one", 0 },
        { "UPDATE head SET last = 4", "the row is beyond the last one written", 5 },
        { "UPDATE head SET began = 'x'", "the row was altered", 1 },
        { "INSERT INTO readings SELECT 6, point, time, time_ns, sequence, value, uncertainty, unit,"
          " verdict, reason, run, round, settings, instrument, version, digest, body, job, serial"
          " FROM readings WHERE id = 5",
          "the row was altered", 6 },
        { "UPDATE readings SET id = 100 WHERE id = 2; UPDATE readings SET id = 2 WHERE id = 3;"
          "UPDATE readings SET id = 3 WHERE id = 100",
          "the row was altered", 2 },
        { "DELETE FROM readings WHERE id = 2; INSERT INTO events (id, time, time_ns, kind, first,"
          " last, after, digest) SELECT 6, '', 0, 'pruned', 2, 2, zeroblob(32), zeroblob(32)",
          "the row was altered", 3 },
    };
    struct store_case *it = *state;
    struct store_verify verify;
    char command[640];
    fill(it, 5, at(1000));
    snprintf(command, sizeof command, "cp %s %s/kept", it->settings.path, it->folder);
    assert_int_equal(system(command), 0);
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        store_case_sql(it, cases[i].statement);
        const char *what = store_case_verify(it, &verify);
        if (strncmp(what, cases[i].what, strlen(cases[i].what)) != 0 ||
            verify.first_bad != cases[i].row)
            fail_msg("%s: %s at %d", cases[i].statement, what, (int)verify.first_bad);
        snprintf(command, sizeof command, "cp %s/kept %s", it->folder, it->settings.path);
        assert_int_equal(system(command), 0);
    }
}

static struct store_query *ask(struct store_case *it, struct store_page *page)
{
    struct failure failure = { 0 };
    struct store_look look;
    bool ended = true;
    assert_true(store_look_open(&look, it->settings.path, &failure));
    assert_true(page->query.read(&page->query, &look, &ended));
    assert_true(ended);
    store_look_close(&look);
    return &page->query;
}

/* A value that was altered is never answered. */
static void test_altered_rows_have_no_value(void **state)
{
    struct store_case *it = *state;
    fill(it, 3, at(1000));
    store_case_sql(it, "UPDATE readings SET body = '{\"value\":7}' WHERE id = 2");
    struct store_query *query = ask(it, store_page_new());
    assert_non_null(strstr(query->text.bytes, "\"reading\":{\"value\":1}"));
    assert_non_null(strstr(query->text.bytes, "row 2 of the store was altered"));
    assert_null(strstr(query->text.bytes, "\"value\":7"));
    store_query_free(query);
}

/* The ids in an answer, as a text. */
static const char *ids(struct store_case *it, struct store_page *page)
{
    static char text[256];
    size_t used = 0;
    const struct store_query *query = ask(it, page);
    text[0] = '\0';
    for (const char *at = query->text.bytes; (at = strstr(at, "\"id\":")) != NULL; at += 5)
        used += (size_t)snprintf(text + used, sizeof text - used, "%d ", atoi(at + 5));
    if (strstr(query->text.bytes, "\"more\":true") != NULL)
        snprintf(text + used, sizeof text - used, "more");
    store_query_free(&page->query);
    return text;
}

static struct store_page *query(size_t limit, int64_t after, int64_t before, struct wall_time since,
                                struct wall_time until)
{
    struct store_page *made = store_page_new();
    made->limit = limit;
    made->after = after;
    made->before = before;
    made->since = since;
    made->until = until;
    return made;
}

static void test_pages(void **state)
{
    struct store_case *it = *state;
    const int64_t all = INT64_MAX;
    const struct wall_time first = WALL_TIME_FIRST, last = WALL_TIME_LAST;
    fill(it, 6, at(1000)); /* 1000 s to 1005 s */
    assert_string_equal(ids(it, query(3, -1, all, first, last)), "4 5 6 more");
    assert_string_equal(ids(it, query(3, -1, 4, first, last)), "1 2 3 ");
    assert_string_equal(ids(it, query(3, 0, all, first, last)), "1 2 3 more");
    assert_string_equal(ids(it, query(3, 3, all, first, last)), "4 5 6 ");
    assert_string_equal(ids(it, query(9, -1, all, at(1002), at(1004))), "3 4 5 ");
    assert_string_equal(ids(it, query(2, 0, all, at(1002), at(1004))), "3 4 more");
    assert_string_equal(ids(it, query(9, -1, all, at(1006), last)), "");
    assert_string_equal(ids(it, query(9, -1, all, first, at(999))), "");
    struct store_page *other = store_page_new();
    strcpy(other->point, "other");
    assert_string_equal(ids(it, other), "");
}

/* The clock stepped back: the order is that of writing, and times select still. */
static void test_clock_step(void **state)
{
    struct store_case *it = *state;
    fill(it, 3, at(5000));
    fill(it, 3, at(1000));
    assert_string_equal(ids(it, query(9, -1, INT64_MAX, WALL_TIME_FIRST, WALL_TIME_LAST)),
                        "1 2 3 4 5 6 ");
    assert_string_equal(ids(it, query(9, -1, INT64_MAX, at(4000), WALL_TIME_LAST)), "1 2 3 ");
    assert_string_equal(ids(it, query(9, -1, INT64_MAX, WALL_TIME_FIRST, at(4000))), "4 5 6 ");
}

/* Opens the store until policy has left so many readings besides those of now. */
static void until_left(struct store_case *it, int64_t count)
{
    struct failure failure = { 0 };
    it->settings.trust_clock = true;
    it->settings.ask_percent = 100;
    fill(it, 1, wall_time_now());
    assert_true(store_case_open(it, &failure));
    while (store_case_number(
               it, "SELECT count(*) FROM readings WHERE time_ns < 1000000000000000") != count)
        event_base_loop(it->base, EVLOOP_NONBLOCK);
    store_case_close(it);
}

static void test_retention(void **state)
{
    struct store_case *it = *state;
    struct store_verify verify;
    fill(it, 5, at(1000));
    it->settings.retention_days = 1;
    until_left(it, 0);
    assert_string_equal(store_case_verify(it, &verify), "");
    assert_int_equal(verify.removed, 5);
    assert_int_equal(verify.readings, 1);
    it->settings.retention_days = 0;
    fill(it, 2, at(2000));
    assert_string_equal(store_case_verify(it, &verify), "");
    assert_int_equal(verify.readings, 3);
    assert_string_equal(ids(it, query(9, -1, INT64_MAX, WALL_TIME_FIRST, WALL_TIME_LAST)),
                        "6 8 9 ");
    store_case_sql(it, "DELETE FROM events");
    assert_string_equal(store_case_verify(it, &verify), "the row is missing");
}

static struct record *event(struct store_case *it, const char *kind)
{
    struct record *record = record_event(kind, "burn", at(1), NULL);
    assert_non_null(record);
    (void)it;
    return record;
}

/* Of a run that is under way nothing goes; once it has ended, it does. */
static void test_a_running_run_is_kept(void **state)
{
    struct store_case *it = *state;
    struct failure failure = { 0 };
    struct store_verify verify;
    assert_true(store_case_open(it, &failure));
    assert_true(store_append(it->store, event(it, "run began")));
    for (int i = 0; i < 6; i++)
        assert_true(store_case_append(it, i, at(1000), i % 2 ? "burn" : NULL));
    store_case_until_durable(it, 6);
    store_case_close(it);
    it->settings.retention_days = 1;
    until_left(it, 3);
    assert_int_equal(store_case_number(it, "SELECT count(*) FROM readings WHERE run = 'burn'"), 3);
    assert_string_equal(store_case_verify(it, &verify), "");
    assert_true(store_case_open(it, &failure));
    assert_true(store_append(it->store, event(it, "run ended")));
    assert_true(store_case_append(it, 1, at(1000), NULL));
    store_case_until_durable(it, 7);
    store_case_close(it);
    until_left(it, 0);
    assert_string_equal(store_case_verify(it, &verify), "");
}

static void test_summaries(void **state)
{
    struct store_case *it = *state;
    struct failure failure = { 0 };
    struct store_verify verify;
    assert_true(store_case_open(it, &failure));
    for (int i = 0; i < 20; i++)
        assert_true(store_case_append(it, i % 10 == 9 ? (double)NAN : i, at(1000 + i), NULL));
    store_case_until_durable(it, 20);
    store_case_close(it);
    it->settings.keep_all_days = 1;
    it->settings.summary_s = 10;
    until_left(it, 0);
    assert_string_equal(store_case_verify(it, &verify), "");
    assert_int_equal(verify.removed, 20);
    assert_int_equal(store_case_number(it, "SELECT count(*) FROM events WHERE kind = 'summary'"),
                     2);
    assert_int_equal(
        store_case_number(it, "SELECT count(*) FROM events WHERE kind = 'summary' AND body ="
                              " '{\"from_ns\":1010000000000,\"until_ns\":1020000000000,"
                              "\"unit\":\"V\",\"readings\":9,\"failures\":1,\"not_passed\":0,"
                              "\"mean\":14,\"minimum\":10,\"maximum\":18,"
                              "\"largest_uncertainty\":0.5}'"),
        1);
}

int main(void)
{
#define TEST(name) cmocka_unit_test_setup_teardown(name, store_case_begin, store_case_end)
    const struct CMUnitTest tests[] = {
        TEST(test_intact),    TEST(test_values_that_are_special),
        TEST(test_tampering), TEST(test_altered_rows_have_no_value),
        TEST(test_pages),     TEST(test_clock_step),
        TEST(test_retention), TEST(test_a_running_run_is_kept),
        TEST(test_summaries),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
