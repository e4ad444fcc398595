/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Moments as people write them; the seconds are those of date(1), UTC. */
#include "daemon/basics/wall_clock.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

static void test_bad(void **state)
{
    static const char *const texts[] = {
        "",
        "2026",
        "2026-1-31",
        "2026-02-29",
        "2026-13-01",
        "2026-00-01",
        "2026-01-32",
        "1969-12-31",
        "2262-01-01",
        "2026-01-31T",
        "2026-01-31T24:00",
        "2026-01-31T23:60",
        "2026-01-31T23:59:60",
        "2026-01-31T23:59:59.",
        "2026-01-31T23:59:59.1234567890",
        "2026-01-31 23:59",
        "2026-01-31T23:59+01:00",
        "2026-01-31ZZ",
        " 2026-01-31",
        "now",
    };
    (void)state;
    for (size_t i = 0; i < sizeof texts / sizeof texts[0]; i++) {
        struct wall_time time = { 7 };
        if (wall_time_read(texts[i], &time))
            fail_msg("\"%s\" was taken", texts[i]);
        assert_int_equal(time.ns, 7);
    }
}

static void test_good(void **state)
{
    static const struct {
        const char *text;
        int64_t nanoseconds;
    } cases[] = {
        { "1970-01-01", 0 },
        { "2026-01-31", 1769817600000000000 },
        { "2026-01-31Z", 1769817600000000000 },
        { "2024-02-29T12:30", 1709209800000000000 },
        { "2026-01-31T23:59:59Z", 1769903999000000000 },
        { "2026-01-31T23:59:59.5Z", 1769903999500000000 },
        { "2026-01-31T23:59:59.123456789", 1769903999123456789 },
        { "2261-12-31T23:59:59.999999999Z", 9214646399999999999 },
    };
    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        struct wall_time time = { -1 };
        assert_true(wall_time_read(cases[i].text, &time));
        assert_int_equal(time.ns, cases[i].nanoseconds);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_bad),
        cmocka_unit_test(test_good),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
