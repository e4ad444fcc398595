/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Whose turn it is on a sheet, and what a client is told of it when it begins; own derivation. */
#include "daemon/walk/walk_priv.h"

#include <jansson.h>
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

static void the_next_open_place_is_found_around_the_end(void **state)
{
    (void)state;
    struct place_record places[4] = { { .state = PLACE_OPEN },
                                      { .state = PLACE_READ },
                                      { .state = PLACE_SKIPPED },
                                      { .state = PLACE_OPEN } };
    struct walk walk = { .count = 4, .places = places };
    assert_int_equal(walk_open_place(&walk, 0), 0);
    assert_int_equal(walk_open_place(&walk, 1), 3);
    places[3].state = PLACE_NO_READING;
    assert_int_equal(walk_open_place(&walk, 1), 0);
    places[0].state = PLACE_READ;
    for (size_t from = 0; from < 4; from++)
        assert_int_equal(walk_open_place(&walk, from), walk.count);
}

/* A value is told of a place that was read, and of no other. */
static void only_what_was_read_has_a_value(void **state)
{
    (void)state;
    struct bench_instrument instrument = { .name = "meter" };
    struct bench_point points[2] = { { .name = "rail", .index = 0, .unit = "V" },
                                     { .name = "bias", .index = 1, .unit = "V" } };
    struct bench_place where[2] = { { .point = 0, .place = "TP1" },
                                    { .point = 1, .place = "TP2" } };
    struct bench_sheet sheet = {
        .name = "psu", .title = "Supply", .place_count = 2, .places = where
    };
    struct bench bench = { .instrument_count = 1,
                           .instruments = &instrument,
                           .point_count = 2,
                           .points = points,
                           .sheet_count = 1,
                           .sheets = &sheet };
    struct place_record places[2] = {
        { .state = PLACE_READ, .value = 5.01, .verdict = VERDICT_PASS },
        { .state = PLACE_NO_READING, .value = 9.99, .verdict = VERDICT_PASS },
    };
    struct walk walk = { .sheet = "psu", .count = 2, .places = places, .at = 1, .bench = &bench };
    struct text text = { 0 };
    for (size_t i = 0; i < 2; i++) {
        points[i].limits = limits_none();
        points[i].expected = (double)NAN;
    }
    walk_encode(&text, &walk, true);
    json_t *json = json_loadb(text.bytes, text.length, 0, NULL);
    assert_non_null(json);
    const json_t *told = json_object_get(json, "places");
    const json_t *read = json_array_get(told, 0), *none = json_array_get(told, 1);
    assert_true(json_is_true(json_object_get(json, "resumed")));
    assert_int_equal(json_integer_value(json_object_get(json, "place")), 1);
    assert_true(json_number_value(json_object_get(read, "value")) == 5.01);
    assert_string_equal(json_string_value(json_object_get(read, "verdict")), "pass");
    assert_string_equal(json_string_value(json_object_get(none, "state")), "no reading");
    assert_null(json_object_get(none, "value"));
    assert_null(json_object_get(none, "verdict"));
    json_decref(json);
    text_free(&text);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_next_open_place_is_found_around_the_end),
        cmocka_unit_test(only_what_was_read_has_a_value),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
