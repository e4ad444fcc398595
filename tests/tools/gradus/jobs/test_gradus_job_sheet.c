/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What a job is handed over with; own derivation: the worst of the last readings counts. */
#include "tools/gradus/basics/status.h"
#include "tools/gradus/jobs/job_sheet.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

static json_t *item_of(const char *text)
{
    json_t *item = json_loads(text, 0, NULL);
    assert_non_null(item);
    return item;
}

static void the_worst_reading_after_is_the_status(void **state)
{
    (void)state;
    json_t *good = item_of("{\"reading\": {\"value\": 5.0, \"verdict\": \"pass\"}}");
    json_t *bad = item_of("{\"reading\": {\"value\": 9.0, \"verdict\": \"fail\"}}");
    struct job_line lines[2] = { { .point = "rail", .before = bad, .after = good },
                                 { .point = "bias", .before = bad } };
    struct job_sheet sheet = { .lines = lines, .line_count = 2 };
    assert_int_equal(job_sheet_status(&sheet), STATUS_PASS);
    lines[1].after = bad;
    assert_int_equal(job_sheet_status(&sheet), STATUS_FAIL);
    json_decref(good);
    json_decref(bad);
}

static void what_was_not_measured_is_no_pass(void **state)
{
    (void)state;
    json_t *none = item_of("{\"error\": {\"message\": \"timeout\"}}");
    struct job_line line = { .point = "rail", .after = none };
    struct job_sheet sheet = { .lines = &line, .line_count = 1 };
    char text[64];
    assert_int_equal(job_sheet_status(&sheet), STATUS_NO_READING);
    assert_string_equal(job_value(none, 2, text, sizeof text), "timeout");
    assert_string_equal(job_verdict(none), "no reading");
    assert_string_equal(job_value(NULL, 2, text, sizeof text), "");
    assert_string_equal(job_verdict(NULL), "");
    json_decref(none);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_worst_reading_after_is_the_status),
        cmocka_unit_test(what_was_not_measured_is_no_pass),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
