/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What a reply is gathered in, and a problem told; own derivation. */
#include "tools/standin/basics/problem.h"
#include "tools/standin/basics/reply_text.h"

#include <string.h>

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

static void a_reply_keeps_every_byte(void **state)
{
    (void)state;
    struct text text = { 0 };
    text_add(&text, "a\0b", 3);
    for (int i = 0; i < 1000; i++)
        text_print(&text, "%03d,", i);
    assert_int_equal(text.count, 3 + 4000);
    assert_memory_equal(text.bytes, "a\0b000,001,", 11);
    assert_memory_equal(text.bytes + text.count - 4, "999,", 4);
    text_clear(&text);
    assert_int_equal(text.count, 0);
    text_print(&text, "again");
    assert_memory_equal(text.bytes, "again", 5);
    text_clear(&text);
}

static void a_problem_is_cut_and_never_good(void **state)
{
    (void)state;
    struct problem problem;
    char longest[600];
    memset(longest, 'x', sizeof longest);
    longest[sizeof longest - 1] = '\0';
    assert_false(problem_tell(&problem, "no %s", "source"));
    assert_string_equal(problem.text, "no source");
    assert_false(problem_tell(&problem, "%s", longest));
    assert_int_equal(strlen(problem.text), sizeof problem.text - 1);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_reply_keeps_every_byte),
        cmocka_unit_test(a_problem_is_cut_and_never_good),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
