/* SPDX-License-Identifier: GPL-3.0-or-later */
/* When a wall clock is believed so far that readings go by it (own rules). */
#include "store_case.h"

#include "daemon/store/store_retention.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdio.h>
#include <string.h>

#include <cmocka.h>

/* A day of the year 2026 or so, from which days are counted here. */
static const int64_t first_day_s = 1780000000;
static const int64_t day_s = 86400;
static const double years_10 = 3652;

static struct wall_time day(double days)
{
    return (struct wall_time) { (first_day_s + (int64_t)llround(days * (double)day_s)) *
                                SECOND_NS };
}

/* Appends readings an hour apart, so many days long. */
static void fill(struct store_case *it, double from, double days)
{
    struct failure failure = { 0 };
    int before = it->durable;
    int count = (int)lround(days * 24);
    double retention = it->settings.retention_days;
    it->settings.retention_days = 0; /* not by the clock of this machine */
    assert_true(store_case_open(it, &failure));
    for (int i = 0; i < count; i++) {
        assert_true(store_case_append(it, 1, day(from + i / 24.0), NULL));
        if (i % STORE_CASE_HOLD == STORE_CASE_HOLD - 1 || i == count - 1)
            store_case_until_durable(it, before + i + 1);
    }
    store_case_close(it);
    it->settings.retention_days = retention;
}

/* A daemon under way: its clocks, and what it decided last. */
struct look {
    struct store_case *it;
    struct retention retention;
    struct wall_time now;
    struct store_removal removal;
};

static struct retention_clocks clocks(double wall_days, double up_days)
{
    return (struct retention_clocks) { day(wall_days), true,
                                       duration_of_seconds(up_days * (double)day_s) };
}

static enum store_wait look(struct look *look, struct retention_clocks clocks)
{
    struct store_db *db = NULL;
    struct failure failure = { 0 };
    assert_int_equal(store_db_open(look->it->settings.path, NULL, &db, &failure), STORE_WELL);
    assert_int_equal(store_retention_look(&look->retention, db, &look->it->settings, &clocks,
                                          &look->now, &look->removal, &failure),
                     STORE_WELL);
    store_db_close(db);
    return look->removal.wait;
}

static struct look begin(struct store_case *it)
{
    it->settings.retention_days = 30;
    it->settings.ask_percent = 20;
    return (struct look) { .it = it };
}

/* Ten years ahead at a boot, nothing measured yet: ages count from the newest reading. */
static void test_a_clock_ahead_removes_nothing(void **state)
{
    struct look it = begin(*state);
    fill(it.it, 0, 29);
    assert_int_equal(look(&it, clocks(years_10, 0.1)), STORE_WAITS_NOT);
    assert_int_equal(it.now.ns, day(29 - 1 / 24.0).ns);
}

/* The same, with a reading by that clock: all before is old at once, and waits. */
static void test_a_reading_ten_years_ahead(void **state)
{
    struct look it = begin(*state);
    fill(it.it, 0, 29);
    assert_int_equal(look(&it, clocks(years_10, 0.1)), STORE_WAITS_NOT);
    fill(it.it, years_10, 0.1);
    assert_int_equal(look(&it, clocks(years_10, 0.2)), STORE_WAITS_CONSENT);
    assert_int_equal(it.removal.rows, 29 * 24);
    assert_int_equal(it.now.ns, WALL_TIME_FIRST.ns);
    assert_int_equal(look(&it, clocks(years_10, 0.3)), STORE_WAITS_CONSENT);
    /* The clock was put right: nothing is old any more. */
    assert_int_equal(look(&it, clocks(29.5, 0.5)), STORE_WAITS_NOT);
}

/* As a start with such a reading on record. */
static void test_a_start_with_a_reading_ahead(void **state)
{
    struct look it = begin(*state);
    fill(it.it, 0, 29);
    fill(it.it, years_10, 0.1);
    assert_int_equal(look(&it, clocks(years_10, 0.2)), STORE_WAITS_CONSENT);
}

/* Day by day, with looks between, all goes by itself, and after a week's rest as well. */
static void test_what_goes_on_goes_by_itself(void **state)
{
    struct look it = begin(*state);
    fill(it.it, 0, 30);
    for (int i = 0; i < 8; i++) {
        fill(it.it, 30 + i, 1);
        assert_int_equal(look(&it, clocks(31 + i, 31 + i)), STORE_WAITS_NOT);
        assert_int_equal(it.now.ns, day(31 + i - 1 / 24.0).ns);
    }
    assert_int_equal(look(&it, clocks(60, 60)), STORE_WAITS_NOT);
    fill(it.it, 68, 1);
    assert_int_equal(look(&it, clocks(69, 69)), STORE_WAITS_NOT);
}

/* Until a time server keeps the clock nothing goes, unless the settings say that it is right. */
static void test_a_clock_that_nobody_keeps(void **state)
{
    struct look it = begin(*state);
    struct retention_clocks alone = clocks(31, 1);
    alone.synchronised = false;
    fill(it.it, 0, 31);
    assert_int_equal(look(&it, alone), STORE_WAITS_CLOCK);
    assert_int_equal(it.now.ns, WALL_TIME_FIRST.ns);
    it.it->settings.trust_clock = true;
    assert_int_equal(look(&it, alone), STORE_WAITS_NOT);
    it.it->settings.trust_clock = false;
    assert_int_equal(look(&it, clocks(31, 1)), STORE_WAITS_NOT);
}

/* What is allowed goes once, and no more than that. */
static void test_what_was_allowed(void **state)
{
    struct look it = begin(*state);
    fill(it.it, 0, 29);
    fill(it.it, 45, 1);
    assert_int_equal(look(&it, clocks(46, 46)), STORE_WAITS_CONSENT);
    it.retention.allowed = day(10);
    assert_int_equal(look(&it, clocks(46, 46)), STORE_WAITS_CONSENT);
    assert_int_equal(it.now.ns, day(40).ns);
    assert_int_equal(look(&it, clocks(46, 46)), STORE_WAITS_CONSENT);
    assert_int_equal(it.now.ns, WALL_TIME_FIRST.ns);
}

/* The share is of readings and summaries, and of what may go at all. */
static void test_the_share(void **state)
{
    struct look it = begin(*state);
    fill(it.it, 0, 40); /* 10 days of 40 are old: a quarter */
    it.it->settings.ask_percent = 25.1;
    assert_int_equal(look(&it, clocks(40, 1)), STORE_WAITS_NOT);
    it.retention = (struct retention) { 0 };
    it.it->settings.ask_percent = 24;
    assert_int_equal(look(&it, clocks(40, 1)), STORE_WAITS_CONSENT);
    store_case_sql(it.it, "UPDATE readings SET run = 'r' WHERE id < 200;"
                          "INSERT INTO events (id, time, time_ns, kind, subject, digest)"
                          " VALUES (9999, '', 0, 'run began', 'r', x'00')");
    it.retention = (struct retention) { 0 };
    assert_int_equal(look(&it, clocks(40, 1)), STORE_WAITS_NOT);
    it.it->settings.ask_percent = 0;
    it.retention = (struct retention) { 0 };
    assert_int_equal(look(&it, clocks(40, 1)), STORE_WAITS_CONSENT);
}

int main(void)
{
#define TEST(name) cmocka_unit_test_setup_teardown(name, store_case_begin, store_case_end)
    const struct CMUnitTest tests[] = {
        TEST(test_a_clock_ahead_removes_nothing),
        TEST(test_a_reading_ten_years_ahead),
        TEST(test_a_start_with_a_reading_ahead),
        TEST(test_what_goes_on_goes_by_itself),
        TEST(test_a_clock_that_nobody_keeps),
        TEST(test_what_was_allowed),
        TEST(test_the_share),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
