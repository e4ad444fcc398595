/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Lines shared out on a screen, names cut, lines cut, courses drawn. */
#include "tools/gradus/basics/terminal_text.h"
#include "tools/gradus/screen/fit.h"
#include "tools/gradus/screen/frame.h"
#include "tools/gradus/screen/spark.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "tests/tools/gradus/capture_stream.h"

static void check_lines(size_t room, size_t a, size_t b, size_t c, size_t x, size_t y, size_t z)
{
    const size_t wanted[] = { a, b, c };
    size_t given[3];
    fit_lines(room, wanted, 3, given);
    assert_int_equal(given[0], x);
    assert_int_equal(given[1], y);
    assert_int_equal(given[2], z);
}

static void lines_go_round_until_there_are_none(void **state)
{
    (void)state;
    check_lines(0, 5, 5, 5, 0, 0, 0);
    check_lines(2, 5, 5, 5, 1, 1, 0);
    check_lines(9, 2, 20, 20, 2, 4, 3);
    check_lines(100, 2, 0, 7, 2, 0, 7);
}

static void check_text(const char *text, size_t columns, bool ascii, const char *expected)
{
    char *const fitted = fit_text(text, columns, ascii);
    assert_string_equal(fitted, expected);
    assert_true(text_width(fitted) <= columns);
    free(fitted);
}

static void a_long_name_loses_its_middle(void **state)
{
    (void)state;
    check_text("rail", 4, false, "rail");
    check_text("rail_5v", 6, false, "rai…5v");
    check_text("rail_5v", 6, true, "rai~5v");
    check_text("rail_5v", 1, false, "…");
    check_text("rail_5v", 0, false, "");
}

static void wide_characters_and_marks_stay_whole(void **state)
{
    (void)state;
    check_text("漢字電源", 8, false, "漢字電源");
    check_text("漢字電源", 7, false, "漢…源");
    check_text("漢字電源", 5, false, "漢…源");
    /* An acute accent belongs to the letter before it. */
    check_text("abcde\xCC\x81", 3, false, "a…e\xCC\x81");
    check_text("abcdee\xCC\x81", 3, false, "a…e\xCC\x81");
    check_text("abcde\xCC\x81", 2, false, "a…");
}

static void a_cell_is_filled_to_its_columns(void **state)
{
    (void)state;
    struct capture_stream capture = { 0 };
    const struct terminal terminal = { .ascii = false };
    FILE *const stream = capture_begin(&capture);
    fit_put(&terminal, stream, "漢字電源", 7);
    fit_put(&terminal, stream, "a\033[31m", 6);
    fit_put(&terminal, stream, "b", 3);
    assert_string_equal(capture_end(&capture), "漢…源  a\\x…1mb  ");
    free(capture.text);
}

static void check_line(const char *line, size_t columns, const char *expected)
{
    struct capture_stream capture = { 0 };
    frame_put_line(capture_begin(&capture), line, strlen(line), columns, false);
    assert_string_equal(capture_end(&capture), expected);
    free(capture.text);
}

static void a_cut_line_says_so(void **state)
{
    (void)state;
    check_line("round 1234", 10, "round 1234");
    check_line("round 1234", 9, "round 12…");
    check_line("漢字電源", 6, "漢字…");
    check_line("a", 0, "");
}

static void styles_take_no_columns_and_end_with_the_line(void **state)
{
    (void)state;
    check_line("\033[1;31mTRIP\033[0m", 4, "\033[1;31mTRIP\033[0m");
    check_line("\033[1;31mTRIP\033[0m", 3, "\033[1;31mTR\033[0m…");
}

static void lines_of_a_text_are_cut_each_by_itself(void **state)
{
    (void)state;
    struct capture_stream capture = { 0 };
    const struct terminal terminal = { .ascii = true, .columns = 3 };
    frame_put_lines(&terminal, capture_begin(&capture), "abcd\n\nab\nabc");
    assert_string_equal(capture_end(&capture), "ab~\n\nab\nabc");
    free(capture.text);
}

static void check_course(const double *values, size_t count, size_t columns, double span,
                         const char *blocks, const char *plain)
{
    struct spark spark = { .count = 0 };
    char text[SPARK_TEXT];
    for (size_t i = 0; i < count; i++)
        spark_add(&spark, values[i]);
    assert_int_equal(spark_draw(&spark, columns, span, false, text), text_width(blocks));
    assert_string_equal(text, blocks);
    spark_draw(&spark, columns, span, true, text);
    assert_string_equal(text, plain);
}

static void a_course_takes_the_height_there_is(void **state)
{
    (void)state;
    const double rising[] = { 1, 2, 3, 4, 5, 6, 7, 8 };
    const double flat[] = { 5, 5, 5 };
    check_course(rising, 8, 20, (double)NAN, "▁▂▃▄▅▆▇█", "__..--''");
    check_course(rising, 8, 3, (double)NAN, "▁▅█", "_-'");
    check_course(flat, 3, 20, (double)NAN, "▅▅▅", "---");
    check_course(flat, 0, 20, (double)NAN, "", "");
    check_course(rising, 8, 0, (double)NAN, "", "");
}

static void noise_within_the_uncertainty_stays_small(void **state)
{
    (void)state;
    const double noise[] = { 5.00, 5.01, 5.00, 5.01 };
    check_course(noise, 4, 20, 1.0, "▄▅▄▅", ".-.-");
    check_course(noise, 4, 20, 0.001, "▁█▁█", "_'_'");
}

static void what_is_no_reading_has_a_mark_and_no_height(void **state)
{
    (void)state;
    const double holes[] = { (double)NAN, 1, (double)INFINITY, 3 };
    const double nothing[] = { (double)NAN, (double)NAN };
    check_course(holes, 4, 20, (double)NAN, "x▁x█", "x_x'");
    check_course(nothing, 2, 20, 0.1, "xx", "xx");
}

static void the_oldest_go_first(void **state)
{
    (void)state;
    struct spark spark = { .count = 0 };
    char text[SPARK_TEXT];
    for (int i = 0; i < SPARK_MOST; i++)
        spark_add(&spark, -100);
    for (int i = 0; i < SPARK_MOST - 1; i++)
        spark_add(&spark, 1);
    assert_int_equal(spark_draw(&spark, 1000, (double)NAN, true, text), SPARK_MOST);
    assert_memory_equal(text, "_'''", 4);
    spark_add(&spark, 1);
    spark_draw(&spark, 1000, (double)NAN, true, text);
    assert_memory_equal(text, "----", 4);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(lines_go_round_until_there_are_none),
        cmocka_unit_test(a_long_name_loses_its_middle),
        cmocka_unit_test(wide_characters_and_marks_stay_whole),
        cmocka_unit_test(a_cell_is_filled_to_its_columns),
        cmocka_unit_test(a_cut_line_says_so),
        cmocka_unit_test(styles_take_no_columns_and_end_with_the_line),
        cmocka_unit_test(lines_of_a_text_are_cut_each_by_itself),
        cmocka_unit_test(a_course_takes_the_height_there_is),
        cmocka_unit_test(noise_within_the_uncertainty_stays_small),
        cmocka_unit_test(what_is_no_reading_has_a_mark_and_no_height),
        cmocka_unit_test(the_oldest_go_first),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
