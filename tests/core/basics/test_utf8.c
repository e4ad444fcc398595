/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "core/basics/utf8.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

/* RFC 3629: overlong forms, surrogates and what lies beyond U+10FFFF are no UTF-8. */
static void test_utf8(void **state)
{
    (void)state;
    static const char *const bad[] = { "\x80",
                                       "\xC0\x80",
                                       "\xC1\xBF",
                                       "\xE0\x9F\xBF",
                                       "\xED\xA0\x80",
                                       "\xF0\x8F\xBF\xBF",
                                       "\xF4\x90\x80\x80",
                                       "\xF5\x80\x80\x80",
                                       "\xC3",
                                       "\xE2\x82",
                                       "\xC3(" };
    static const char *const good[] = { "",
                                        "ASCII",
                                        "\xC2\x80",
                                        "\xE0\xA0\x80",
                                        "\xED\x9F\xBF",
                                        "\xEF\xBF\xBF",
                                        "\xF0\x90\x80\x80",
                                        "\xF4\x8F\xBF\xBF" };

    for (size_t i = 0; i < sizeof bad / sizeof *bad; i++) {
        assert_int_equal(utf8_prefix(bad[i], strlen(bad[i])), 0);
        assert_false(utf8_printable(bad[i]));
    }
    for (size_t i = 0; i < sizeof good / sizeof *good; i++)
        assert_int_equal(utf8_prefix(good[i], strlen(good[i])), strlen(good[i]));
    assert_int_equal(utf8_prefix("ab\xFFzz", 5), 2);
    assert_true(utf8_printable("5 µs"));
    assert_false(utf8_printable("a\nb"));
    assert_false(utf8_printable("a\x7F"));
}

/* RFC 3629, 7: its four examples, "A<NOT IDENTICAL TO><ALPHA>." and the others. */
static void test_decode(void **state)
{
    (void)state;
    static const struct {
        const char *bytes;
        uint32_t codes[5];
    } rows[] = {
        { "\x41\xE2\x89\xA2\xCE\x91\x2E", { 0x41, 0x2262, 0x391, 0x2E } },
        { "\xED\x95\x9C\xEA\xB5\xAD\xEC\x96\xB4", { 0xD55C, 0xAD6D, 0xC5B4 } },
        { "\xE6\x97\xA5\xE6\x9C\xAC\xE8\xAA\x9E", { 0x65E5, 0x672C, 0x8A9E } },
        { "\xEF\xBB\xBF\xF0\xA3\x8E\xB4", { 0xFEFF, 0x233B4 } },
    };

    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        const char *at = rows[i].bytes;
        for (size_t j = 0; rows[i].codes[j] != 0; j++) {
            uint32_t code = 0;
            at += utf8_decode(at, strlen(at), &code);
            assert_int_equal(code, rows[i].codes[j]);
        }
        assert_int_equal(*at, '\0');
    }
    uint32_t untouched = 7;
    assert_int_equal(utf8_decode("", 0, &untouched), 0);
    assert_int_equal(utf8_decode("\xC3\xA9", 1, &untouched), 0);
    assert_int_equal(untouched, 7);
}

/* Unicode 15: Cc, Bidi_Control, U+2028 and U+2029; beside them characters that are none. */
static void test_tame(void **state)
{
    char text[] = "a\x1b\x7f\xc2\x85"
                  "b\u061c\u200e\u200f\u2028\u2029\u202a\u202e\u2066\u2069"
                  "c\u00b5\u2264\u200b\u206a\x9b\xff";
    (void)state;
    assert_string_equal(utf8_tame(text), "a????b??????????????????????????"
                                         "c\u00b5\u2264\u200b\u206a?\xff");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_utf8),
        cmocka_unit_test(test_decode),
        cmocka_unit_test(test_tame),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
