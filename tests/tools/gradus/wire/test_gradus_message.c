/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "tools/gradus/wire/message.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <string.h>

#include "tools/gradus/basics/status.h"
#include "tools/gradus/wire/address.h"
#include "tools/gradus/wire/fault.h"

static void what_is_no_object_is_refused(void **state)
{
    (void)state;
    static const char *const wrong[] = {
        "", "nonsense", "[1]", "5", "{\"a\":1", "{\"a\":1}}", "{\"a\":1,\"a\":2}", "{\"a\":NaN}"
    };
    for (size_t i = 0; i < sizeof wrong / sizeof wrong[0]; i++) {
        struct message message = { 0 };
        char problem[128] = "";
        assert_false(message_read(wrong[i], strlen(wrong[i]), &message, problem, sizeof problem));
        assert_true(problem[0] != '\0');
        assert_null(message.json);
    }
}

static void check_span(const char *object, const char *name, const char *expected)
{
    size_t length = 0;
    const char *const span = message_span(object, strlen(object), name, &length);
    if (expected == NULL) {
        assert_null(span);
        return;
    }
    assert_non_null(span);
    assert_int_equal(length, strlen(expected));
    assert_memory_equal(span, expected, length);
}

static void members_are_found_as_they_are_written(void **state)
{
    (void)state;
    check_span("{}", "a", NULL);
    check_span("{\"b\":{\"a\":1}}", "a", NULL);
    check_span("{\"b\":\"\\\"a\\\":1\"}", "a", NULL);
    check_span("{\"aa\":1,\"a\":2}", "a", "2");
    check_span("{ \"b\" : [1, {\"a\": 3}, \"]}\"] , \"a\" : 1.50e0 }", "a", "1.50e0");
    check_span("{\"b\":\"\\\\\",\"a\":\"x,}\\\"\"}", "a", "\"x,}\\\"\"");
    check_span("{\"a\":{\"c\":[1,2]},\"b\":1}", "a", "{\"c\":[1,2]}");
    check_span("{\"a\":null}", "a", "null");
}

static void a_cut_object_is_survived(void **state)
{
    (void)state;
    static const char whole[] = "{\"b\": [1, \"\\\"\"], \"a\": {\"c\": 1}}";
    for (size_t length = 0; length < sizeof whole; length++) {
        size_t span = 0;
        const char *const at = message_span(whole, length, "a", &span);
        assert_true(at == NULL || at + span <= whole + length);
    }
}

static void addresses_that_are_none_are_refused(void **state)
{
    (void)state;
    static const char *const wrong[] = { "",          "here",         "unix:",      "unix:relative",
                                         "tcp:",      "tcp:host",     "tcp::1",     "tcp:h:0",
                                         "tcp:h:",    "tcp:h:65536",  "tcp:h:1x",   "tcp:h:-1",
                                         "tcp:a:b:1", "tcp:h:000080", "UNIX:/tmp/x" };
    struct address address;
    struct fault fault;
    for (size_t i = 0; i < sizeof wrong / sizeof wrong[0]; i++) {
        assert_false(address_parse(wrong[i], &address, &fault));
        assert_int_equal(fault.status, STATUS_USAGE);
        assert_non_null(strstr(fault.what, wrong[i]));
    }
    char longer[200] = "unix:/";
    memset(longer + 6, 'x', sizeof longer - 7);
    longer[sizeof longer - 1] = '\0';
    assert_false(address_parse(longer, &address, &fault));
}

static void addresses_are_taken_apart(void **state)
{
    (void)state;
    struct address address;
    struct fault fault;
    assert_true(address_parse("unix:/run/x.sock", &address, &fault));
    assert_false(address.tcp);
    assert_string_equal(address.path, "/run/x.sock");
    assert_true(address_parse("tcp:bench.example:7425", &address, &fault));
    assert_true(address.tcp);
    assert_string_equal(address.host, "bench.example");
    assert_string_equal(address.port, "7425");
    assert_true(address_parse("tcp:[::1]:7425", &address, &fault));
    assert_string_equal(address.host, "::1");
}

static void faults_keep_what_the_daemon_said(void **state)
{
    (void)state;
    struct fault fault;
    char detail[256];
    json_t *error = json_pack("{s:i, s:s, s:{s:s, s:s, s:s, s:s}}", "code", -32010, "message", "x",
                              "data", "reason", "no reply in time", "where", "meter_a", "what",
                              "silence", "expected", "a number");
    fault_from_error(&fault, error);
    assert_int_equal(fault.status, STATUS_NO_READING);
    assert_string_equal(fault.reason, "no reply in time");
    assert_string_equal(fault_detail(&fault, detail, sizeof detail),
                        "silence, expected a number (meter_a)");
    json_decref(error);
    error = json_pack("{s:i, s:s}", "code", -32602, "message", "Invalid params");
    fault_from_error(&fault, error);
    assert_int_equal(fault.status, STATUS_USAGE);
    assert_string_equal(fault.reason, "Invalid params");
    json_decref(error);
    fault_from_error(&fault, NULL);
    assert_int_equal(fault.status, STATUS_NO_READING);
    assert_true(fault.reason[0] != '\0');
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(what_is_no_object_is_refused),
        cmocka_unit_test(a_cut_object_is_survived),
        cmocka_unit_test(addresses_that_are_none_are_refused),
        cmocka_unit_test(members_are_found_as_they_are_written),
        cmocka_unit_test(addresses_are_taken_apart),
        cmocka_unit_test(faults_keep_what_the_daemon_said),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
