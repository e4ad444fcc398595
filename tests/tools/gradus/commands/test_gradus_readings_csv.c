/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A record of the store as CSV; own derivation, from the columns that are promised. */
#include "tools/gradus/commands/readings_csv.h"

#include <stdlib.h>
#include <string.h>

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

static json_t *record_of(const char *text)
{
    json_t *item = json_loads(text, 0, NULL);
    assert_non_null(item);
    json_t *record = readings_csv_object(item);
    json_decref(item);
    return record;
}

static void a_reading_lies_flat_beside_what_the_store_knows(void **state)
{
    (void)state;
    json_t *record = record_of("{\"id\": 7, \"reading\": {\"value\": 5.01, \"point\": \"rail\"}}");
    assert_int_equal(json_integer_value(json_object_get(record, "id")), 7);
    assert_true(json_number_value(json_object_get(record, "value")) == 5.01);
    assert_null(json_object_get(record, "reading"));
    assert_null(json_object_get(record, "reason"));
    json_decref(record);
}

/* Where there is no reading there is no value, and the reason why. */
static void a_failure_has_its_reason_and_no_value(void **state)
{
    (void)state;
    json_t *record = record_of("{\"id\": 8, \"error\": {\"message\": \"timeout\", \"data\": "
                               "{\"what\": \"no reply\", \"value\": 5}, \"job\": "
                               "{\"name\": \"4711\"}}}");
    assert_string_equal(json_string_value(json_object_get(record, "reason")), "timeout");
    assert_string_equal(json_string_value(json_object_get(record, "what")), "no reply");
    assert_non_null(json_object_get(record, "job"));
    assert_null(json_object_get(record, "value"));
    assert_null(json_object_get(record, "error"));
    json_decref(record);
}

static void no_column_has_another_ones_heading(void **state)
{
    (void)state;
    struct csv_column *columns = readings_csv_columns();
    size_t count = 0;
    for (; columns[count].heading != NULL; count++)
        for (size_t i = 0; i < count; i++)
            assert_string_not_equal(columns[i].heading, columns[count].heading);
    assert_string_equal(columns[0].heading, "id");
    assert_true(count > 10);
    free(columns);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_reading_lies_flat_beside_what_the_store_knows),
        cmocka_unit_test(a_failure_has_its_reason_and_no_value),
        cmocka_unit_test(no_column_has_another_ones_heading),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
