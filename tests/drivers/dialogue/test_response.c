/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Response messages: what the published vectors (tests/reference) leave open. */
#include "drivers/basics/printable.h"
#include "drivers/dialogue/framer.h"
#include "drivers/dialogue/response.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <inttypes.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static void bad_numbers_are_refused(void **state)
{
    static const char *const texts[] = { "",        "+",     ".",       "+.",    "E5",  "1E",
                                         "1E+",     "1e400", "-1e400",  "1 2",   " 1",  "1 ",
                                         "1.2.3",   "1,5",   "0x1A",    "nan",   "inf", "infinity",
                                         "1e5e5",   "1E1.5", "++1",     "+-1",   "--1", "1-",
                                         "1E99999", "5V",    "1_000",   "1'000", "1d5", "1p5",
                                         "1E 5",    "1E+-5", "1E32001", "\xB5",  "1\t" };
    double number = 7;

    (void)state;
    for (size_t i = 0; i < sizeof texts / sizeof *texts; i++) {
        if (decimal_parse(texts[i], strlen(texts[i]), &number))
            fail_msg("'%s' was taken for a number", texts[i]);
        assert_true(number == 7);
    }
}

static void a_number_may_not_be_longer_than_the_standard_allows(void **state)
{
    char text[300];
    double number;

    (void)state;
    memset(text, '1', sizeof text);
    assert_false(decimal_parse(text, 256, &number)); /* 255 characters: IEEE 488.2, 7.7.2.4.1 */
    assert_true(decimal_parse(text, 255, &number));
}

static void a_nul_ends_no_number(void **state)
{
    double number;

    (void)state;
    assert_false(decimal_parse("5.0\0"
                               "13",
                               6, &number));
}

/* Numbers whose nearest double is easily missed: halfway cases from memory, checked by strtod. */
static void numbers_become_the_nearest_double(void **state)
{
    static const char *const texts[] = {
        "0.1",
        "5.0132",
        "123.4E-54",
        "9007199254740993",
        "9007199254740992.999999999999999999999999999999999999999999999999",
        "2.2250738585072011e-308",
        "2.2250738585072012e-308",
        "1.7976931348623157e308",
        "4.9406564584124654e-324",
        "2.4703282292062327e-324",
        "1e-400",
        "-0.0",
        "0000000000000000000000000000000000001",
        "100000000000000016777215",
        "100000000000000016777216",
        ".000000000000000000000000000000000000000000000000000000000000000000000001e71",
    };

    (void)state;
    for (size_t i = 0; i < sizeof texts / sizeof *texts; i++) {
        double wanted = strtod(texts[i], NULL);
        double number;

        assert_true(decimal_parse(texts[i], strlen(texts[i]), &number));
        assert_memory_equal(&number, &wanted, sizeof number);
    }
}

/* xorshift64*: the generator is our own so that a seed gives the same numbers everywhere. */
static uint64_t draw(uint64_t *state)
{
    *state ^= *state >> 12;
    *state ^= *state << 25;
    *state ^= *state >> 27;
    return *state * UINT64_C(2685821657736338717);
}

static void every_double_reads_back(void **state)
{
    uint64_t seed = 0x9e3779b97f4a7c15;

    (void)state;
    print_message("seed %" PRIu64 "\n", seed);
    for (int i = 0; i < 200000; i++) {
        uint64_t bits = draw(&seed);
        char text[40];
        double value;
        double number;

        memcpy(&value, &bits, sizeof value);
        if (!isfinite(value))
            continue;
        snprintf(text, sizeof text, "%.16e", value);
        assert_true(decimal_parse(text, strlen(text), &number));
        assert_memory_equal(&number, &value, sizeof number);
    }
}

/* SCPI-1999 7.2.1.4 and 7.2.1.5: 9.9E37 and 9.91E37; the bounds about them are our own rule. */
static void marks_are_told_apart(void **state)
{
    static const struct {
        double number;
        enum number_special special;
    } rows[] = {
        { 9.7999e37, SPECIAL_NONE },
        { -9.7999e37, SPECIAL_NONE },
        { 9.8e37, SPECIAL_INFINITY },
        { -9.8e37, SPECIAL_MINUS_INFINITY },
        { 9.9e37, SPECIAL_INFINITY },
        { 9.9000003e37, SPECIAL_INFINITY },
        { 9.909999e37, SPECIAL_NOT_A_NUMBER },
        { 9.91e37, SPECIAL_NOT_A_NUMBER },
        { -9.91e37, SPECIAL_MINUS_INFINITY },
        { 1e38, SPECIAL_INFINITY },
        { 1e300, SPECIAL_INFINITY },
        { INFINITY, SPECIAL_INFINITY },
        { -INFINITY, SPECIAL_MINUS_INFINITY },
        { NAN, SPECIAL_NOT_A_NUMBER },
        { 0, SPECIAL_NONE },
    };

    (void)state;
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++)
        assert_int_equal(number_classify(rows[i].number), rows[i].special);
}

static void bad_messages_are_refused(void **state)
{
    static const char *const bodies[] = { "",          " ",        ",",
                                          "1,",        ",1",       "1;;2",
                                          "1;",        ";",        "\"a",
                                          "\"a\"b",    "\"a\"\"",  "'a",
                                          "#",         "#1",       "#15abc",
                                          "#15abcdef", "#1x",      "#2",
                                          "#H",        "#HG",      "#Q8",
                                          "#B2",       "#H1G",     "1\r",
                                          "A B",       "A-B",      "5\x01",
                                          "\x80",      "1 2",      "#21",
                                          "\"\x80\"",  "READ?",    "#H20000000000001",
                                          "1\n",       "A,B,C,D E" };
    struct element elements[8];
    size_t n = 99;

    (void)state;
    for (size_t i = 0; i < sizeof bodies / sizeof *bodies; i++) {
        struct failure failure;

        failure_clear(&failure);
        if (response_parse(bodies[i], strlen(bodies[i]), elements, 8, &n, &failure))
            fail_msg("'%s' was taken for a response", bodies[i]);
        assert_int_equal(failure.code, FAILURE_UNEXPECTED_REPLY);
        assert_int_equal(n, 99);
    }
}

static void more_elements_than_room_are_refused(void **state)
{
    struct element elements[2];
    size_t n;

    (void)state;
    assert_false(response_parse("1,2,3", 5, elements, 2, &n, NULL));
    assert_true(response_parse("1,2", 3, elements, 2, &n, NULL));
}

static void integers_are_exact_to_2_53(void **state)
{
    enum number_special special;
    double number;

    (void)state;
    assert_true(response_number("#H1fffffffffffff", 16, &number, &special, NULL));
    assert_true(number == 9007199254740991.0);
    assert_true(response_number("#H20000000000000", 16, &number, &special, NULL));
    assert_true(number == 9007199254740992.0);
    assert_false(response_number("#H20000000000001", 16, &number, &special, NULL));
}

static enum frame whole(const char *bytes, size_t count, bool end, size_t limit, size_t *body)
{
    size_t length;

    return response_frame(bytes, count, end, limit, &length, body, NULL);
}

static void damaged_bytes_spoil_the_frame_at_once(void **state)
{
    static const char nul[] = "5.0\0"
                              "13";
    size_t body;

    (void)state;
    assert_int_equal(whole(nul, 4, false, 100, &body), FRAME_INVALID);
    assert_int_equal(whole("5.\x7f", 3, false, 100, &body), FRAME_INVALID);
    assert_int_equal(whole("\"\xb0", 2, false, 100, &body), FRAME_INVALID);
    assert_int_equal(whole("5\r5", 3, false, 100, &body), FRAME_INVALID);
    assert_int_equal(whole("5\x1b", 2, false, 100, &body), FRAME_INVALID);
    assert_int_equal(whole("#13\0\xff\r\n", 7, false, 100, &body), FRAME_COMPLETE);
    assert_int_equal(body, 6);
}

static void blocks_and_babble_are_bounded(void **state)
{
    struct failure failure;
    size_t length;
    size_t body;

    (void)state;
    failure_clear(&failure);
    assert_int_equal(response_frame("#3900", 5, false, 904, &length, &body, &failure),
                     FRAME_INVALID);
    assert_int_equal(failure.code, FAILURE_UNEXPECTED_REPLY);
    assert_int_equal(whole("#3900", 5, false, 905, &body), FRAME_INCOMPLETE);
    failure_clear(&failure);
    assert_int_equal(response_frame("12345", 5, false, 4, &length, &body, &failure), FRAME_INVALID);
    assert_int_equal(failure.code, FAILURE_BABBLE);
    assert_int_equal(whole("123\n", 4, false, 4, &body), FRAME_COMPLETE);
}

static void newlines_in_strings_and_blocks_end_nothing(void **state)
{
    size_t body;

    (void)state;
    assert_int_equal(whole("\"a\nb\"", 5, false, 100, &body), FRAME_INCOMPLETE);
    assert_int_equal(whole("\"a\nb\"\n", 6, false, 100, &body), FRAME_COMPLETE);
    assert_int_equal(body, 5);
    assert_int_equal(whole("#12\n\n", 5, false, 100, &body), FRAME_INCOMPLETE);
    assert_int_equal(whole("#12\n\r\n", 6, false, 100, &body), FRAME_COMPLETE);
    assert_int_equal(body, 5); /* the CR belongs to the block */
}

/* A quote or # in the middle of a text is a character like any other. */
static void only_the_head_of_an_element_opens_strings_and_blocks(void **state)
{
    size_t body;

    (void)state;
    assert_int_equal(whole("MAKER,5\" SCREEN,#15A#9\n", 23, false, 100, &body), FRAME_INCOMPLETE);
    assert_int_equal(whole("MAKER,5\" SCREEN,A#9\n", 20, false, 100, &body), FRAME_COMPLETE);
    assert_int_equal(whole("1, \"a\n\"\n", 8, false, 100, &body), FRAME_COMPLETE);
    assert_int_equal(body, 7);
}

static void a_megabyte_is_looked_at_once(void **state)
{
    enum { SIZE = 1000000, HEAD = 9 };
    char *bytes = malloc(HEAD + SIZE + 1);
    struct framer framer;
    size_t length;
    size_t body;

    (void)state;
    assert_non_null(bytes);
    memcpy(bytes, "#71000000", HEAD);
    memset(bytes + HEAD, '\n', SIZE + 1);
    framer_start_488(&framer, false, HEAD + SIZE + 1);
    for (size_t count = 1; count <= HEAD + SIZE; count++) {
        assert_int_equal(framer_feed(&framer, bytes, count, false, &length, &body, NULL),
                         FRAME_INCOMPLETE);
        assert_int_equal(framer.position, count);
    }
    assert_int_equal(framer_feed(&framer, bytes, HEAD + SIZE + 1, false, &length, &body, NULL),
                     FRAME_COMPLETE);
    assert_int_equal(body, HEAD + SIZE);
    free(bytes);
}

static enum frame line(const char *terminator, const char *bytes, size_t count, size_t *body)
{
    struct framer framer;
    size_t length;

    framer_start_line(&framer, terminator, 16);
    return framer_feed(&framer, bytes, count, false, &length, body, NULL);
}

static void lines_end_with_their_whole_terminator(void **state)
{
    size_t body;

    (void)state;
    assert_int_equal(line("\r\n", "OHM\n", 4, &body), FRAME_INVALID);
    assert_int_equal(line("\r\n", "\n", 1, &body), FRAME_INVALID);
    assert_int_equal(line("\r\n", "D\0V\r\n", 5, &body), FRAME_INVALID);
    assert_int_equal(line("\r\n", "D\xb0V\r\n", 5, &body), FRAME_INVALID);
    assert_int_equal(line("\r\n", "12345678901234567", 17, &body), FRAME_INVALID);
    assert_int_equal(line("\r\n", "OHM\r", 4, &body), FRAME_INCOMPLETE);
    assert_int_equal(line("\r\n", "OHM\r\n", 5, &body), FRAME_COMPLETE);
    assert_int_equal(body, 3);
    assert_int_equal(line("\r", "\"#9\r", 4, &body), FRAME_COMPLETE);
    assert_int_equal(body, 3);
}

static void identities_have_four_fields(void **state)
{
    char warning[80];

    (void)state;
    assert_false(identity_check("", 0, warning, sizeof warning, NULL));
    assert_false(identity_check("A,B,C", 5, warning, sizeof warning, NULL));
    assert_false(identity_check("A,B,,D", 6, warning, sizeof warning, NULL));
    assert_false(identity_check("A,B, ,D", 7, warning, sizeof warning, NULL));
    assert_false(identity_check("A,B,C,", 6, warning, sizeof warning, NULL));
    assert_false(identity_check("A,B,C,\x07", 7, warning, sizeof warning, NULL));
    assert_true(identity_check("A,B,0,0", 7, warning, sizeof warning, NULL));
    assert_string_equal(warning, "");
    assert_true(identity_check("A,B;C,0,0", 9, warning, sizeof warning, NULL));
    assert_string_not_equal(warning, "");
}

static void bytes_are_shown_readably(void **state)
{
    char text[16];

    (void)state;
    assert_string_equal(printable("a\\\r\n\t", 5, text, sizeof text), "a\\\\\\r\\n\\t");
    assert_string_equal(printable("\0\xb0", 2, text, sizeof text), "\\x00\\xB0");
    assert_string_equal(printable("0123456789abc", 13, text, sizeof text), "0123456789ab...");
    assert_string_equal(printable("", 0, text, sizeof text), "");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(bad_numbers_are_refused),
        cmocka_unit_test(a_number_may_not_be_longer_than_the_standard_allows),
        cmocka_unit_test(a_nul_ends_no_number),
        cmocka_unit_test(bad_messages_are_refused),
        cmocka_unit_test(more_elements_than_room_are_refused),
        cmocka_unit_test(damaged_bytes_spoil_the_frame_at_once),
        cmocka_unit_test(blocks_and_babble_are_bounded),
        cmocka_unit_test(lines_end_with_their_whole_terminator),
        cmocka_unit_test(identities_have_four_fields),
        cmocka_unit_test(numbers_become_the_nearest_double),
        cmocka_unit_test(every_double_reads_back),
        cmocka_unit_test(marks_are_told_apart),
        cmocka_unit_test(integers_are_exact_to_2_53),
        cmocka_unit_test(newlines_in_strings_and_blocks_end_nothing),
        cmocka_unit_test(only_the_head_of_an_element_opens_strings_and_blocks),
        cmocka_unit_test(a_megabyte_is_looked_at_once),
        cmocka_unit_test(bytes_are_shown_readably),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
