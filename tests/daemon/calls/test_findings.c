/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What a client says of a customer's job, and what findings are as JSON; own derivation. */
#include "daemon/calls/encode_findings.h"
#include "daemon/calls/order.h"

#include <math.h>
#include <stdlib.h>

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

/* The job's text, to be freed, or NULL and what was wrong. */
static char *order_of(const char *text, bool many, struct failure *failure)
{
    json_t *object = json_loads(text, 0, NULL);
    assert_non_null(object);
    *failure = (struct failure) { 0 };
    char *order = order_read(object, many, failure);
    json_decref(object);
    return order;
}

static void a_job_is_written_with_its_members_in_order(void **state)
{
    (void)state;
    struct failure failure;
    char *order = order_of("{\"serial\": \"A7\", \"name\": \"4711\", \"stage\": \"before\"}", false,
                           &failure);
    assert_non_null(order);
    assert_string_equal(order, "{\"name\":\"4711\",\"serial\":\"A7\",\"stage\":\"before\"}");
    free(order);
}

static void a_job_that_says_nonsense_is_refused(void **state)
{
    (void)state;
    static const char *const wrong[] = {
        "{\"serial\": \"A7\"}",
        "{\"name\": \"\"}",
        "{\"name\": 4711}",
        "{\"name\": \"a\\nb\"}",
        "{\"name\": \"4711\", \"stage\": \"during\"}",
        "{\"name\": \"4711\", \"colour\": \"red\"}",
        "{\"name\": \"4711\", \"fields\": [1]}",
        "{\"name\": \"4711\", \"serials\": [\"A7\"]}",
        "{\"name\": \"0123456789012345678901234567890123456789012345678901234567890123\"}",
    };
    struct failure failure;
    for (size_t i = 0; i < sizeof wrong / sizeof *wrong; i++) {
        assert_null(order_of(wrong[i], false, &failure));
        assert_int_equal(failure.code, FAILURE_SETTINGS);
    }
    char *run = order_of("{\"name\": \"4711\", \"serials\": [\"A7\", \"A8\"]}", true, &failure);
    assert_non_null(run);
    free(run);
}

static json_t *parsed(struct text *text)
{
    json_t *json = json_loadb(text->bytes, text->length, 0, NULL);
    assert_false(text->failed);
    assert_non_null(json);
    text_free(text);
    return json;
}

static double number(const json_t *object, const char *key)
{
    const json_t *value = json_object_get(object, key);
    return json_is_number(value) ? json_number_value(value) : (double)NAN;
}

static void an_agreement_carries_both_readings(void **state)
{
    (void)state;
    struct text one = { 0 }, other = { 0 }, text = { 0 };
    text_json(&one, "{\"value\":5.01}", 14);
    text_json(&other, "{\"value\":5.02}", 14);
    const struct agreement_finding finding = {
        .en = 0.4,
        .agree = true,
        .correlation = 0.1,
        .difference = { .value = -0.01, .expanded = { .uncertainty = 0.025 } },
        .unit = "V",
        .readings = { &one, &other },
    };
    encode_agreement(&text, &finding);
    json_t *json = parsed(&text);
    const json_t *readings = json_object_get(json, "readings");
    const json_t *difference = json_object_get(json, "difference");
    assert_int_equal(json_array_size(readings), 2);
    assert_true(number(json_array_get(readings, 1), "value") == 5.02);
    assert_true(number(json, "en") == 0.4 && number(difference, "uncertainty") == 0.025);
    assert_true(json_is_true(json_object_get(json, "agree")));
    json_decref(json);
    text_free(&one);
    text_free(&other);
}

/* The amplitude error is told only where a frequency was asked for. */
static void compensation_says_what_was_asked_for(void **state)
{
    (void)state;
    struct compensation_finding finding = { .point = "edge",
                                            .probe = "x10",
                                            .found = { .kind = COMPENSATION_UNDECIDED,
                                                       .lack = "too few edges" },
                                            .frequency = (double)NAN,
                                            .amplitude_error = (double)NAN };
    struct text text = { 0 };
    encode_compensation(&text, &finding);
    json_t *json = parsed(&text);
    assert_string_equal(json_string_value(json_object_get(json, "reason")), "too few edges");
    assert_null(json_object_get(json, "frequency"));
    json_decref(json);
    finding.frequency = 1e6;
    finding.amplitude_error = -0.02;
    encode_compensation(&text, &finding);
    json = parsed(&text);
    assert_true(number(json, "frequency") == 1e6 && number(json, "amplitude_error") == -0.02);
    json_decref(json);
}

static void a_board_names_the_likeliest_first(void **state)
{
    (void)state;
    struct bench_sheet sheet = { .name = "psu", .title = "Power supply" };
    struct board_finding finding = { .sheet = &sheet,
                                     .state = DIAGNOSIS_NARROWED,
                                     .suspects = 2,
                                     .suspect = { "regulator", "fuse" },
                                     .probability = { 0.75, 0.25 } };
    struct text text = { 0 };
    encode_board(&text, &finding);
    json_t *json = parsed(&text);
    const json_t *suspects = json_object_get(json, "suspects");
    assert_string_equal(json_string_value(json_object_get(json, "state")), "narrowed down");
    assert_null(json_object_get(json, "next"));
    assert_int_equal(json_array_size(suspects), 2);
    assert_string_equal(json_string_value(json_object_get(json_array_get(suspects, 0), "block")),
                        "regulator");
    json_decref(json);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_job_is_written_with_its_members_in_order),
        cmocka_unit_test(a_job_that_says_nonsense_is_refused),
        cmocka_unit_test(an_agreement_carries_both_readings),
        cmocka_unit_test(compensation_says_what_was_asked_for),
        cmocka_unit_test(a_board_names_the_likeliest_first),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
