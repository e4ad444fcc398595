/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Times that are added up stop where int64_t ends (own derivation: 2^63 ns are 9223372036.85 s). */
#include "core/basics/moment.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>

#include <cmocka.h>

static const struct moment last = { INT64_MAX };
static const struct moment earliest = { INT64_MIN };
static const struct duration minute = { 60 * SECOND_NS };

static void test_ends_of_the_range(void **state)
{
    (void)state;
    assert_int_equal(moment_plus(last, minute).ns, INT64_MAX);
    assert_int_equal(moment_plus(earliest, (struct duration) { -1 }).ns, INT64_MIN);
    assert_int_equal(moment_since(last, (struct moment) { -1 }).ns, INT64_MAX);
    assert_int_equal(moment_since(earliest, (struct moment) { 1 }).ns, INT64_MIN);
    assert_int_equal(wall_time_plus(WALL_TIME_FIRST, (struct duration) { -5 }).ns, INT64_MIN);
    assert_int_equal(wall_time_since(WALL_TIME_LAST, WALL_TIME_FIRST).ns, INT64_MAX);
    assert_int_equal(duration_times(minute, INT64_MAX / 2).ns, INT64_MAX);
    assert_int_equal(duration_times(minute, INT64_MIN / 2).ns, INT64_MIN);
    assert_int_equal(duration_times((struct duration) { -60 * SECOND_NS }, INT64_MAX / 2).ns,
                     INT64_MIN);
}

static void test_seconds(void **state)
{
    (void)state;
    assert_int_equal(duration_of_seconds(NAN).ns, 0);
    assert_int_equal(duration_of_seconds(INFINITY).ns, INT64_MAX);
    assert_int_equal(duration_of_seconds(-INFINITY).ns, INT64_MIN);
    assert_int_equal(duration_of_seconds(1e300).ns, INT64_MAX);
    assert_int_equal(duration_of_seconds(9.3e9).ns, INT64_MAX);
    assert_int_equal(duration_of_seconds(-9.3e9).ns, INT64_MIN);
    assert_int_equal(duration_of_seconds(0.3).ns, 300000000);
    assert_int_equal(duration_of_seconds(-1.5).ns, -1500000000);
    assert_int_equal(duration_of_ms(0.001).ns, 1000);
    assert_true(duration_seconds(minute) == 60);
    assert_true(duration_ms(minute) == 60000);
    assert_int_equal(duration_timeval((struct duration) { SECOND_NS + 1001 }).tv_sec, 1);
    assert_int_equal(duration_timeval((struct duration) { SECOND_NS + 1001 }).tv_usec, 2);
    assert_int_equal(duration_timeval((struct duration) { -1 }).tv_usec, 0);
}

static void test_order(void **state)
{
    const struct moment now = { 5 * SECOND_NS };
    const struct moment then = moment_plus(now, minute);
    (void)state;
    assert_true(moment_before(now, then));
    assert_false(moment_before(then, now));
    assert_false(moment_before(now, now));
    assert_int_equal(moment_since(then, now).ns, minute.ns);
    assert_int_equal(moment_since(now, then).ns, -minute.ns);
    assert_false(moment_is_set((struct moment) { 0 }));
    assert_true(wall_time_before(WALL_TIME_FIRST, WALL_TIME_LAST));
    assert_int_equal(moment_timespec((struct moment) { 65000000007 }).tv_sec, 65);
    assert_int_equal(moment_timespec((struct moment) { 65000000007 }).tv_nsec, 7);
}

static void test_pauses_double(void **state)
{
    const struct duration first = { 2 }, longest = { 7 };
    static const int64_t expected[] = { 2, 4, 7, 7 };
    struct duration pause = { 0 };
    (void)state;
    for (size_t i = 0; i < sizeof expected / sizeof *expected; i++) {
        pause = duration_doubled(pause, first, longest);
        assert_int_equal(pause.ns, expected[i]);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_ends_of_the_range),
        cmocka_unit_test(test_seconds),
        cmocka_unit_test(test_order),
        cmocka_unit_test(test_pauses_double),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
