/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "tools/gradus/screen/table.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <stdlib.h>

#include "tests/tools/gradus/capture_stream.h"

static const struct table_column columns[] = {
    { "point", ALIGN_LEFT }, { "value", ALIGN_RIGHT }, { "note", ALIGN_LEFT }, { NULL, ALIGN_LEFT }
};

static void check(struct table *table, struct terminal terminal, const char *expected)
{
    struct capture_stream capture = { 0 };
    table_print(table, &terminal, capture_begin(&capture));
    assert_string_equal(capture_end(&capture), expected);
    free(capture.text);
    table_free(table);
}

static void row(struct table *table, const char *point, const char *value, const char *note)
{
    table_row(table);
    table_cell(table, STYLE_PLAIN, "%s", point);
    table_cell(table, STYLE_BAD, "%s", value);
    table_cell(table, STYLE_PLAIN, "%s", note);
}

static void a_table_without_rows_has_no_columns_to_show(void **state)
{
    (void)state;
    check(table_new(columns), (struct terminal) { 0 }, "\n");
}

static void cells_line_up_by_what_they_take_on_the_screen(void **state)
{
    (void)state;
    struct table *const table = table_new(columns);
    row(table, "µ", "1.0 Ω", "x");
    row(table, "漢字", "10.25 mΩ", "y");
    check(table, (struct terminal) { 0 },
          "point     value  note\n"
          "µ         1.0 Ω  x\n"
          "漢字   10.25 mΩ  y\n");
}

static void ascii_is_laid_out_as_it_is_spelt(void **state)
{
    (void)state;
    struct table *const table = table_new(columns);
    row(table, "a", "1 Ω", "x");
    check(table, (struct terminal) { .ascii = true },
          "point  value  note\n"
          "a      1 Ohm  x\n");
}

static void columns_with_nothing_in_them_are_left_out(void **state)
{
    (void)state;
    struct table *const table = table_new(columns);
    row(table, "a", "", "x");
    row(table, "b", "", "y");
    check(table, (struct terminal) { 0 }, "point  note\na      x\nb      y\n");
}

static void no_line_ends_with_blanks(void **state)
{
    (void)state;
    struct table *const table = table_new(columns);
    row(table, "a", "1", "a long note");
    row(table, "b", "", "");
    table_row(table);
    table_skip(table);
    table_cell(table, STYLE_PLAIN, "2");
    check(table, (struct terminal) { 0 },
          "point  value  note\n"
          "a          1  a long note\n"
          "b\n"
          "           2\n");
}

static void without_headings_there_is_no_heading_line(void **state)
{
    (void)state;
    static const struct table_column plain[] = { { "", ALIGN_LEFT },
                                                 { "", ALIGN_LEFT },
                                                 { NULL, ALIGN_LEFT } };
    struct table *const table = table_new(plain);
    table_row(table);
    table_cell(table, STYLE_PLAIN, "a");
    table_cell(table, STYLE_PLAIN, "b");
    check(table, (struct terminal) { 0 }, "a  b\n");
}

static void control_characters_are_shown_and_counted(void **state)
{
    (void)state;
    struct table *const table = table_new(columns);
    row(table, "\x1b", "1", "x");
    row(table, "abcd", "1", "x");
    check(table, (struct terminal) { 0 },
          "point  value  note\n"
          "\\x1B       1  x\n"
          "abcd       1  x\n");
}

static void a_narrow_terminal_gets_fewer_columns(void **state)
{
    (void)state;
    for (int width = 20; width >= 5; width -= 5) {
        struct table *const table = table_new(columns);
        row(table, "abc", "1", "a long note");
        check(table, (struct terminal) { .bounded = true, .columns = width },
              width > 12 ? "point  value\nabc        1\n" : "point\nabc\n");
    }
    struct table *const table = table_new(columns);
    row(table, "abc", "1", "a note");
    check(table, (struct terminal) { .bounded = true, .columns = 20 },
          "point  value  note\nabc        1  a note\n");
}

static void colour_does_not_count_as_width(void **state)
{
    (void)state;
    static const struct table_column one[] = { { "", ALIGN_RIGHT },
                                               { "", ALIGN_LEFT },
                                               { NULL, ALIGN_LEFT } };
    struct table *const table = table_new(one);
    table_row(table);
    table_cell(table, STYLE_BAD, "no");
    table_cell(table, STYLE_PLAIN, "x");
    table_row(table);
    table_cell(table, STYLE_PLAIN, "four");
    check(table, (struct terminal) { .colour = true }, "  \033[1;31mno\033[0m  x\nfour\n");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_table_without_rows_has_no_columns_to_show),
        cmocka_unit_test(control_characters_are_shown_and_counted),
        cmocka_unit_test(columns_with_nothing_in_them_are_left_out),
        cmocka_unit_test(no_line_ends_with_blanks),
        cmocka_unit_test(without_headings_there_is_no_heading_line),
        cmocka_unit_test(cells_line_up_by_what_they_take_on_the_screen),
        cmocka_unit_test(ascii_is_laid_out_as_it_is_spelt),
        cmocka_unit_test(a_narrow_terminal_gets_fewer_columns),
        cmocka_unit_test(colour_does_not_count_as_width),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
