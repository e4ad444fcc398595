/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "daemon/basics/json_text.h"

#include <jansson.h>
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

static void a_number_that_is_none_spoils_the_text(void **state)
{
    const double bad[] = { NAN, INFINITY, -INFINITY };
    (void)state;
    for (size_t i = 0; i < 3; i++) {
        struct text text = { 0 };
        text_open(&text, '[');
        text_number(&text, bad[i]);
        text_close(&text, ']');
        assert_true(text.failed);
        text_free(&text);
    }
}

static void a_member_without_value_is_left_out(void **state)
{
    struct text text = { 0 };
    (void)state;
    text_open(&text, '{');
    text_member_number(&text, "a", NAN);
    text_member_number(&text, "b", INFINITY);
    text_member_string(&text, "c", "");
    text_member_string(&text, "d", NULL);
    text_member_integer(&text, "e", INT64_MIN);
    text_close(&text, '}');
    assert_false(text.failed);
    assert_string_equal(text.bytes, "{\"e\":-9223372036854775808}");
    text_free(&text);
}

static void commas_stand_between_elements(void **state)
{
    struct text text = { 0 };
    (void)state;
    text_open(&text, '{');
    text_key(&text, "a");
    text_open(&text, '[');
    text_number(&text, 1);
    text_number(&text, 2);
    text_open(&text, '{');
    text_close(&text, '}');
    text_open(&text, '[');
    text_close(&text, ']');
    text_string(&text, "[");
    text_string(&text, ":");
    text_bool(&text, false);
    text_close(&text, ']');
    text_member_bool(&text, "b", true);
    text_close(&text, '}');
    assert_string_equal(text.bytes, "{\"a\":[1,2,{},[],\"[\",\":\",false],\"b\":true}");
    text_free(&text);
}

/* The text of one string, quotes included, must be what is expected. */
static void check_string(const char *bytes, size_t count, const char *expected)
{
    struct text text = { 0 };
    text_bytes(&text, bytes, count);
    assert_string_equal(text.bytes, expected);
    text_free(&text);
}

/* Sequences of RFC 3629: overlong forms, surrogates and what is cut are no UTF-8. */
static void bytes_that_are_no_utf8_are_replaced(void **state)
{
    (void)state;
    check_string("\xff", 1, "\"\\ufffd\"");
    check_string("a\x80z", 3, "\"a\\ufffdz\"");
    check_string("\xc0\x80", 2, "\"\\ufffd\\ufffd\"");
    check_string("\xe0\x80\x80", 3, "\"\\ufffd\\ufffd\\ufffd\"");
    check_string("\xed\xa0\x80", 3, "\"\\ufffd\\ufffd\\ufffd\"");
    check_string("\xf4\x90\x80\x80", 4, "\"\\ufffd\\ufffd\\ufffd\\ufffd\"");
    check_string("\xe2\x84", 2, "\"\\ufffd\\ufffd\"");
    check_string("\xc3", 1, "\"\\ufffd\"");
}

static void strings_are_escaped(void **state)
{
    (void)state;
    check_string("", 0, "\"\"");
    check_string("a\0b", 3, "\"a\\u0000b\"");
    check_string("\"\\\n\x7f", 4, "\"\\\"\\\\\\u000a\\u007f\"");
    check_string("\xc2\xb5 \xe2\x84\xa6 \xf0\x9f\x94\x8c", 11,
                 "\"\xc2\xb5 \xe2\x84\xa6 \xf0\x9f\x94\x8c\"");
}

/* Any bytes come out as a string that a strict reader takes. */
static void any_bytes_make_valid_json(void **state)
{
    const unsigned seed = 4711;
    (void)state;
    print_message("seed %u\n", seed);
    srand(seed);
    for (int i = 0; i < 20000; i++) {
        char bytes[16];
        struct text text = { 0 };
        for (size_t k = 0; k < sizeof bytes; k++)
            bytes[k] = (char)(rand() % 4 == 0 ? rand() % 256 : 0x80 + rand() % 0x80);
        text_bytes(&text, bytes, sizeof bytes);
        json_t *json = json_loadb(text.bytes, text.length, JSON_DECODE_ANY | JSON_ALLOW_NUL, NULL);
        assert_non_null(json);
        json_decref(json);
        text_free(&text);
    }
}

static void numbers_have_as_few_digits_as_give_them_back(void **state)
{
    static const struct {
        double number;
        const char *text;
    } cases[] = { { 0, "0" },
                  { 5, "5" },
                  { 5.0132, "5.0132" },
                  { 0.1, "0.1" },
                  { -1e-9, "-1e-09" },
                  { 9.9e37, "9.9e+37" },
                  { 1.0 / 3, "0.3333333333333333" },
                  { 0.1 + 0.2, "0.30000000000000004" } };
    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        struct text text = { 0 };
        text_number(&text, cases[i].number);
        assert_string_equal(text.bytes, cases[i].text);
        text_free(&text);
    }
}

static void every_number_comes_back(void **state)
{
    const unsigned seed = 815;
    (void)state;
    print_message("seed %u\n", seed);
    srand(seed);
    for (int i = 0; i < 100000; i++) {
        struct text text = { 0 };
        uint64_t bits = (uint64_t)rand() << 42 ^ (uint64_t)rand() << 21 ^ (uint64_t)rand();
        double number;
        memcpy(&number, &bits, sizeof number);
        if (isfinite(number)) {
            text_number(&text, number);
            assert_true(strtod(text.bytes, NULL) == number);
        }
        text_free(&text);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_number_that_is_none_spoils_the_text),
        cmocka_unit_test(a_member_without_value_is_left_out),
        cmocka_unit_test(bytes_that_are_no_utf8_are_replaced),
        cmocka_unit_test(commas_stand_between_elements),
        cmocka_unit_test(strings_are_escaped),
        cmocka_unit_test(any_bytes_make_valid_json),
        cmocka_unit_test(numbers_have_as_few_digits_as_give_them_back),
        cmocka_unit_test(every_number_comes_back),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
