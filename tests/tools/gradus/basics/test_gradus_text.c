/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "tools/gradus/basics/terminal_text.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <stdlib.h>
#include <string.h>

static void check_printable(const char *from, bool ascii, const char *to)
{
    char *const text = text_printable(from, ascii);
    assert_string_equal(text, to);
    free(text);
}

/* What steers a terminal (ECMA-48), and what is no UTF-8 (RFC 3629). */
static void nothing_steers_the_terminal(void **state)
{
    (void)state;
    check_printable("\x1b[2J", false, "\\x1B[2J");
    check_printable("a\r\n\tb\x7f", false, "a\\x0D\\x0A\\x09b\\x7F");
    check_printable("\xc2\x9b", false, "\\xC2\\x9B");
    check_printable("\u202e", false, "\\xE2\\x80\\xAE");
    check_printable("\xff", false, "\\xFF");
    check_printable("\xc3", false, "\\xC3");
    check_printable("\xc0\x80", false, "\\xC0\\x80");
    check_printable("\xe0\x80\x80x", false, "\\xE0\\x80\\x80x");
    check_printable("\xe0\x82\xb5", false, "\\xE0\\x82\\xB5"); /* overlong */
    check_printable("\xed\xa0\x80", false, "\\xED\\xA0\\x80");
    check_printable("\xf4\x90\x80\x80", false, "\\xF4\\x90\\x80\\x80");
}

static void text_that_is_fine_stays(void **state)
{
    (void)state;
    check_printable("", false, "");
    check_printable("5.013 mV ± 0.004 µΩ é 漢", false, "5.013 mV ± 0.004 µΩ é 漢");
}

static void ascii_spells_the_signs_of_the_trade(void **state)
{
    (void)state;
    check_printable("± µ \u03bc Ω \u2126 ° ≥ … é", true, "+/- u u Ohm Ohm deg >= ... ?");
}

/* Unicode Standard Annex 11 (wide and ambiguous), general categories Mn, Me and Cf (none). */
static void width_is_that_of_the_screen(void **state)
{
    (void)state;
    assert_int_equal(text_width(""), 0);
    assert_int_equal(text_width("µΩ±"), 3);
    assert_int_equal(text_width("e\u0301"), 1);
    assert_int_equal(text_width("漢字"), 4);
    assert_int_equal(text_width("\U0001F600"), 2);
    assert_int_equal(text_width("a\u0591\u200b"), 1);
    assert_int_equal(text_width("한국어 "), 7);
    assert_int_equal(text_width("\u2713"), 1);
}

static void check_tame(const char *from, const char *expected)
{
    char *const text = text_tame(from);
    assert_string_equal(text, expected);
    free(text);
}

/* A name must not turn or break what stands around it in a document. */
static void documents_are_not_steered(void **state)
{
    (void)state;
    check_tame("Größe 5 Ω, 測試\n", "Größe 5 Ω, 測試\n");
    check_tame("a\xE2\x80\xAE"
               "b\xE2\x81\xA6"
               "c",
               "a\uFFFD"
               "b\uFFFD"
               "c");
    check_tame("a\x01\x1B[2Jb\x7F\t", "a??[2Jb??");
    check_tame("cut \xC3", "cut ?");
    check_tame("\xE2\x80", "??");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(nothing_steers_the_terminal),
        cmocka_unit_test(text_that_is_fine_stays),
        cmocka_unit_test(ascii_spells_the_signs_of_the_trade),
        cmocka_unit_test(width_is_that_of_the_screen),
        cmocka_unit_test(documents_are_not_steered),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
