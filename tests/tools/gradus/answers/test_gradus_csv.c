/* SPDX-License-Identifier: GPL-3.0-or-later */
/* CSV after RFC 4180, section 2. */
#include "tools/gradus/answers/csv.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "tests/tools/gradus/capture_stream.h"
#include "tools/gradus/basics/field.h"

enum { SEED = 4180, ROUNDS = 20000 };

static void check_field(const char *text, const char *expected)
{
    struct capture_stream capture = { 0 };
    csv_field(capture_begin(&capture), text);
    assert_string_equal(capture_end(&capture), expected);
    free(capture.text);
}

static void fields_are_quoted_where_they_must_be(void **state)
{
    (void)state;
    check_field("a,b", "\"a,b\"");
    check_field("a\nb", "\"a\nb\"");
    check_field("a\rb", "\"a\rb\"");
    check_field("say \"x\"", "\"say \"\"x\"\"\"");
    check_field("\"", "\"\"\"\"");
    check_field("", "");
    check_field("plain µ text, with 5.0", "\"plain µ text, with 5.0\"");
    check_field("plain µ text with 5.0", "plain µ text with 5.0");
    check_field("in two; for some", "\"in two; for some\"");
}

/* The characters are those of OWASP's page on CSV injection; what is a number stays one. */
static void no_field_is_a_formula(void **state)
{
    (void)state;
    check_field("=1+1", "'=1+1");
    check_field("@SUM(A1)", "'@SUM(A1)");
    check_field("+1+cmd", "'+1+cmd");
    check_field("-2+3", "'-2+3");
    check_field("=A1,\"x\"", "\"'=A1,\"\"x\"\"\"");
    check_field("\t=1", "\"'?=1\"");
    check_field("\r=1", "\"'\r=1\"");
    check_field("-", "'-");
    check_field("-12.5", "-12.5");
    check_field("+1e-3", "+1e-3");
    check_field("a=1", "a=1");
}

/* Unicode 15: Cc, Bidi_Control, U+2028 and U+2029. */
static void no_field_steers(void **state)
{
    (void)state;
    check_field("a\x1b[2Jb", "a?[2Jb");
    check_field("a\u202eb\u2066c\u061cd\u2028e", "a?b?c?d?e");
    check_field("a\xc2\x9b"
                "b\xff",
                "a?b\xff");
}

static void check_number(double number, const char *expected)
{
    char text[CSV_NUMBER_SIZE];
    assert_string_equal(csv_number(text, number), expected);
}

static void numbers_have_the_fewest_digits_that_give_them_back(void **state)
{
    (void)state;
    check_number((double)NAN, "");
    check_number((double)INFINITY, "");
    check_number(0, "0");
    check_number(5.0132, "5.0132");
    check_number(0.1 + 0.2, "0.30000000000000004");
    check_number(-1e-300, "-1e-300");
}

/* Any double comes back bit for bit. */
static void every_number_comes_back(void **state)
{
    (void)state;
    uint64_t bits = SEED;
    print_message("seed %d\n", SEED);
    for (int i = 0; i < ROUNDS; i++) {
        double number;
        char text[CSV_NUMBER_SIZE];
        bits = bits * UINT64_C(6364136223846793005) + UINT64_C(1442695040888963407);
        memcpy(&number, &bits, sizeof number);
        if (isfinite(number))
            assert_true(strtod(csv_number(text, number), NULL) == number);
    }
}

static void a_record_takes_what_is_there(void **state)
{
    (void)state;
    static const struct csv_column columns[] = { { "name", "name" },    { "value", "deep.value" },
                                                 { "n", "n" },          { "yes", "yes" },
                                                 { "list", "list" },    { "gone", "deep.gone.x" },
                                                 { "null", "nothing" }, { NULL, NULL } };
    struct capture_stream capture = { 0 };
    json_t *const object =
        json_pack("{s:s, s:{s:f}, s:i, s:b, s:[s, s], s:n}", "name", "a,b", "deep", "value", 0.1,
                  "n", 7, "yes", 1, "list", "x", "y \"z\"", "nothing");
    FILE *const stream = capture_begin(&capture);
    csv_header(stream, columns);
    csv_record(stream, columns, object);
    assert_string_equal(capture_end(&capture), "name,value,n,yes,list,gone,null\r\n"
                                               "\"a,b\",0.1,7,true,\"x; y \"\"z\"\"\",,\r\n");
    free(capture.text);
    json_decref(object);
}

static void what_is_absent_is_not_zero(void **state)
{
    (void)state;
    json_t *const object = json_pack("{s:s, s:{s:i}}", "text", "5", "deep", "n", 3);
    assert_true(isnan(field_number(object, "text")));
    assert_true(isnan(field_number(object, "deep")));
    assert_true(isnan(field_number(object, "deep.gone")));
    assert_true(isnan(field_number(NULL, "n")));
    assert_true(field_number(object, "deep.n") == 3);
    assert_null(field_text(object, "deep.n"));
    assert_string_equal(field_text_or_empty(object, "gone"), "");
    assert_null(field_at(object, "a_name_that_is_longer_than_any_name_that_the_wire_contract_has"
                                 "_in_it"));
    json_decref(object);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(what_is_absent_is_not_zero),
        cmocka_unit_test(fields_are_quoted_where_they_must_be),
        cmocka_unit_test(no_field_is_a_formula),
        cmocka_unit_test(no_field_steers),
        cmocka_unit_test(numbers_have_the_fewest_digits_that_give_them_back),
        cmocka_unit_test(every_number_comes_back),
        cmocka_unit_test(a_record_takes_what_is_there),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
