/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "core/basics/failure.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <string.h>

static struct failure cleared(void)
{
    struct failure failure;
    failure_clear(&failure);
    return failure;
}

static void null_arguments_are_accepted(void **state)
{
    (void)state;
    assert_false(failure_set(NULL, FAILURE_TIMEOUT, "meter", "a reply", "nothing"));
    struct failure failure = cleared();
    assert_false(failure_set(&failure, FAILURE_TIMEOUT, NULL, NULL, "nothing"));
    assert_int_equal(failure.code, FAILURE_TIMEOUT);
    assert_string_equal(failure.where, "");
    assert_string_equal(failure.what, "nothing");
    assert_string_equal(failure.expected, "");
}

static void no_memory_says_for_what(void **state)
{
    (void)state;
    struct failure failure = cleared();
    assert_false(failure_no_memory(NULL, "a point"));
    assert_false(failure_no_memory(&failure, "100 % of a point"));
    assert_int_equal(failure.code, FAILURE_NO_MEMORY);
    assert_string_equal(failure.where, "");
    assert_string_equal(failure.what, "no memory for 100 % of a point");
    assert_string_equal(failure.expected, "");
}

static void a_code_from_nowhere_is_no_success(void **state)
{
    (void)state;
    enum failure_code nowhere = (enum failure_code)9999;
    assert_string_equal(failure_reason(nowhere), "system error");
    assert_int_equal(failure_exit_status(nowhere), 3);
    assert_int_equal(failure_rpc_code(nowhere), -32041);
    struct failure failure = cleared();
    failure_set(&failure, nowhere, NULL, NULL, "lost");
    assert_int_equal(failure.code, FAILURE_SYSTEM);
}

static void an_unknown_reason_has_no_code(void **state)
{
    (void)state;
    assert_int_equal(failure_from_reason(""), FAILURE_NONE);
    assert_int_equal(failure_from_reason("over"), FAILURE_NONE);
    assert_int_equal(failure_from_reason("Over range"), FAILURE_NONE);
}

static void too_long_texts_are_cut_with_dots(void **state)
{
    (void)state;
    char text[400];
    memset(text, 'x', sizeof(text) - 1);
    text[sizeof(text) - 1] = '\0';
    struct failure failure = cleared();
    failure_set(&failure, FAILURE_SETTINGS, text, text, "%s", text);
    assert_int_equal(strlen(failure.where), sizeof(failure.where) - 1);
    assert_int_equal(strlen(failure.what), sizeof(failure.what) - 1);
    assert_int_equal(strlen(failure.expected), sizeof(failure.expected) - 1);
    assert_string_equal(failure.where + sizeof(failure.where) - 6, "xx...");
    assert_string_equal(failure.what + sizeof(failure.what) - 6, "xx...");
    assert_string_equal(failure.expected + sizeof(failure.expected) - 6, "xx...");
}

/* Fills a text with `length` letters. */
static const char *letters(char *text, size_t length)
{
    memset(text, 'x', length);
    text[length] = '\0';
    return text;
}

static void a_text_that_just_fits_is_whole(void **state)
{
    (void)state;
    struct failure failure = cleared();
    char text[300];
    failure_set(&failure, FAILURE_SETTINGS, letters(text, sizeof(failure.where) - 1), NULL, "x");
    assert_string_equal(failure.where, text);
    failure_clear(&failure);
    failure_set(&failure, FAILURE_SETTINGS, NULL, NULL, "%s",
                letters(text, sizeof(failure.what) - 1));
    assert_string_equal(failure.what, text);
}

static void one_letter_too_many_shows(void **state)
{
    (void)state;
    struct failure failure = cleared();
    char text[300];
    failure_set(&failure, FAILURE_SETTINGS, letters(text, sizeof(failure.where)), NULL, "x");
    assert_string_equal(failure.where + sizeof(failure.where) - 4, "...");
    failure_clear(&failure);
    failure_set(&failure, FAILURE_SETTINGS, NULL, NULL, "%s", letters(text, sizeof(failure.what)));
    assert_string_equal(failure.what + sizeof(failure.what) - 4, "...");
}

/* The Greek letter takes two bytes; wherever the cut falls, no half of it may stay. */
static void a_cut_never_splits_a_character(void **state)
{
    (void)state;
    for (size_t lead = 0; lead < 2; lead++) {
        char text[400] = "";
        strcat(text, lead != 0 ? "x" : "");
        while (strlen(text) < 380)
            strcat(text, "Ω");
        struct failure failure = cleared();
        failure_set(&failure, FAILURE_SETTINGS, text, NULL, "%s", text);
        size_t kept = strlen(failure.where) - 3;
        assert_string_equal(failure.where + kept, "...");
        assert_int_equal((kept - lead) % 2, 0);
        kept = strlen(failure.what) - 3;
        assert_string_equal(failure.what + kept, "...");
        assert_int_equal((kept - lead) % 2, 0);
    }
}

static void the_first_cause_wins(void **state)
{
    (void)state;
    struct failure failure = cleared();
    assert_false(failure_set(&failure, FAILURE_DISCONNECTED, "meter", NULL, "port %d", 7));
    assert_false(failure_set(&failure, FAILURE_NO_VALUE, "point", "a value", "nothing"));
    assert_int_equal(failure.code, FAILURE_DISCONNECTED);
    assert_string_equal(failure.where, "meter");
    assert_string_equal(failure.what, "port 7");
    assert_string_equal(failure.expected, "");
    failure_clear(&failure);
    assert_int_equal(failure.code, FAILURE_NONE);
    assert_string_equal(failure.what, "");
}

static void reasons_read_back(void **state)
{
    (void)state;
    for (int code = 0; code < FAILURE_CODE_COUNT; code++) {
        const char *reason = failure_reason((enum failure_code)code);
        assert_true(strlen(reason) > 0);
        assert_int_equal(failure_from_reason(reason), code);
    }
}

/* JSON-RPC 2.0, section 5.1: -32000 to -32099 are for the server's own errors. */
static void codes_are_in_the_range_left_to_servers(void **state)
{
    (void)state;
    assert_int_equal(failure_rpc_code(FAILURE_NONE), 0);
    assert_int_equal(failure_exit_status(FAILURE_NONE), 0);
    for (int code = FAILURE_NONE + 1; code < FAILURE_CODE_COUNT; code++) {
        assert_in_range(-failure_rpc_code((enum failure_code)code), 32000, 32099);
        assert_in_range(failure_exit_status((enum failure_code)code), 2, 3);
    }
    assert_int_equal(failure_exit_status(FAILURE_SETTINGS), 2);
    assert_int_equal(failure_rpc_code(FAILURE_OVER_RANGE), -32001);
}

/* Own rule: the codes that the protocol's list has from -32010 to -32019 are those of links. */
static void links_have_their_own_codes(void **state)
{
    (void)state;
    for (int code = 0; code < FAILURE_CODE_COUNT; code++) {
        int rpc = failure_rpc_code((enum failure_code)code);
        assert_int_equal(failure_is_of_link((enum failure_code)code),
                         rpc <= -32010 && rpc >= -32019);
    }
}

static void the_text_leaves_out_what_is_empty(void **state)
{
    (void)state;
    char text[128];
    struct failure failure = cleared();
    failure_set(&failure, FAILURE_SETTINGS, "demo.cfg:7", "a number > 0", "factor is \"ten\"");
    assert_string_equal(failure_text(&failure, text, sizeof(text)),
                        "demo.cfg:7: settings: factor is \"ten\", expected a number > 0");
    failure_clear(&failure);
    failure_set(&failure, FAILURE_TIMEOUT, NULL, NULL, "%s", "");
    assert_string_equal(failure_text(&failure, text, sizeof(text)), "no reply in time");
    failure_clear(&failure);
    assert_string_equal(failure_text(&failure, text, sizeof(text)), "none");
}

static void the_text_is_cut_to_the_room_there_is(void **state)
{
    (void)state;
    struct failure failure = cleared();
    failure_set(&failure, FAILURE_TIMEOUT, "meter_a", NULL, "nothing");
    char text[16] = "untouched";
    failure_text(&failure, text, 0);
    assert_string_equal(text, "untouched");
    assert_string_equal(failure_text(&failure, text, sizeof(text)), "meter_a: no ...");
    assert_string_equal(failure_text(&failure, text, 1), "");
    assert_string_equal(failure_text(&failure, text, 3), "me");
}

static void the_longest_text_is_whole(void **state)
{
    (void)state;
    char part[300];
    memset(part, 'x', sizeof(part) - 1);
    part[sizeof(part) - 1] = '\0';
    struct failure failure = cleared();
    failure_set(&failure, FAILURE_LINE_DAMAGED, part, part, "%s", part);
    char text[1024];
    failure_text(&failure, text, sizeof(text));
    size_t parts = strlen(failure.where) + strlen(failure.what) + strlen(failure.expected);
    size_t between = strlen(": : , expected ") + strlen(failure_reason(failure.code));
    assert_int_equal(strlen(text), parts + between);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(null_arguments_are_accepted),
        cmocka_unit_test(no_memory_says_for_what),
        cmocka_unit_test(a_code_from_nowhere_is_no_success),
        cmocka_unit_test(an_unknown_reason_has_no_code),
        cmocka_unit_test(too_long_texts_are_cut_with_dots),
        cmocka_unit_test(a_text_that_just_fits_is_whole),
        cmocka_unit_test(one_letter_too_many_shows),
        cmocka_unit_test(a_cut_never_splits_a_character),
        cmocka_unit_test(the_first_cause_wins),
        cmocka_unit_test(reasons_read_back),
        cmocka_unit_test(codes_are_in_the_range_left_to_servers),
        cmocka_unit_test(links_have_their_own_codes),
        cmocka_unit_test(the_text_leaves_out_what_is_empty),
        cmocka_unit_test(the_text_is_cut_to_the_room_there_is),
        cmocka_unit_test(the_longest_text_is_whole),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
