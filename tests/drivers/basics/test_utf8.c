/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "drivers/basics/utf8.h"

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
    for (size_t i = 0; i < sizeof good / sizeof *good; i++) {
        assert_int_equal(utf8_prefix(good[i], strlen(good[i])), strlen(good[i]));
    }
    assert_int_equal(utf8_prefix("ab\xFFzz", 5), 2);
    assert_true(utf8_printable("5 µs"));
    assert_false(utf8_printable("a\nb"));
    assert_false(utf8_printable("a\x7F"));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_utf8),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
