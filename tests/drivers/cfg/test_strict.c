/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Strict reading: the scan of the text, tables of keys.
 * What the library itself takes wrongly is in tests/reference/test_libconfig_cases.c.
 */
#include "drivers/cfg/strict.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

/* Reads a text as "f.cfg"; the first message, or "" when there is none. */
static const char *first_message(const char *text, struct problems *problems)
{
    config_t config;

    config_init(&config);
    bool read = strict_read_text(&config, text, strlen(text), "f.cfg", problems);
    config_destroy(&config);
    assert_true(read || problems->total > 0);
    return problems->count > 0 ? problems->lines[0] : "";
}

static void test_text_refused(void **state)
{
    (void)state;
    static const char *const cases[][2] = {
        { "a = \"\\d\";", "f.cfg:1: unknown escape in a text, expected one of "
                          "\\\\ \\\" \\n \\r \\t \\f \\xHH" },
        { "a = \"\\x4\";", "f.cfg:1: unknown escape" },
        { "a = \"\\", "f.cfg:1: unknown escape" },
        { "a = 1;\nb = \"\xFF\";", "f.cfg:2: bytes that are not UTF-8" },
        { "a = 1;\x01", "f.cfg:1: byte 0x01 does not belong" },
        { "a = 1; @\n", "f.cfg:1: expected @include \"FILE\" at the start of a line" },
        { "@include x\n", "f.cfg:1: expected @include" },
        { "@include \"\"\n", "f.cfg:1: expected @include" },
        { "@include \"a\\\\b\"\n", "f.cfg:1: expected @include" },
        { "@include \"a\n", "f.cfg:1: expected @include" },
        { "a = 0x8000000000000000L;", "f.cfg:1: integer 0x8000000000000000 does not fit in 64" },
        { "a = -2147483649;", "f.cfg:1: integer -2147483649 does not fit" },
        { "a = -.;", "f.cfg:1: \"-.\" is not a number" },
        { "a = .e5;", "f.cfg:1: \".e5\" is not a number" },
        { "a = 0.0000001e-301;", "f.cfg:1: 0.0000001e-301 is too small" },
        { "a = 1e99999999999999999999;", "f.cfg:1: 1e99999999999999999999 is too large" },
        { "a = 1000000000000000000000000000000000000000000000000000000000000;",
          "f.cfg:1: a number of more than 60 characters" },
        { "a = { b = 1;", "f.cfg:1: syntax error" },
    };

    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        struct problems problems = { 0 };
        const char *message = first_message(cases[i][0], &problems);
        if (strncmp(message, cases[i][1], strlen(cases[i][1])) != 0)
            fail_msg("%s: got %s", cases[i][0], message);
        problems_free(&problems);
    }
}

static void test_nul_byte(void **state)
{
    (void)state;
    struct problems problems = { 0 };
    config_t config;

    config_init(&config);
    assert_false(strict_read_text(&config, "a = 1;\n\0b = 2;", 15, "f.cfg", &problems));
    assert_string_equal(problems.lines[0],
                        "f.cfg:2: a NUL byte does not belong in a settings text");
    problems_free(&problems);
    config_destroy(&config);
}

/* What is good stays good, whatever it looks like inside comments and texts. */
static void test_text_taken(void **state)
{
    (void)state;
    static const char *const cases[] = {
        "a = \"/* no comment\"; b = 1;",
        "a = \"# no comment // none\";",
        "/* 99999999999 \" @include \"x\" */ a = 1;",
        "# an open quote \"\na = 1;",
        "// 1e400\na = 1; # last line without an end",
        "a = 1; /* one\ntwo */ b = 2;",
        "a = \"\\x41\\\\\\\"\\n\\r\\t\\f\";",
        "a = \"µΩ°\";",
        "a = 2147483647; b = -2147483648; c = 9223372036854775807L; d = 0x7FFFFFFF;",
        "a = 9.9e307; b = 1e-307; c = 0.0; d = 0e999; e = .5; f = 5.; g = -1.5E+3;",
        "a3v3 = 3; a-b = 4; *c = 5;",
        "",
    };

    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        struct problems problems = { 0 };
        const char *message = first_message(cases[i], &problems);
        if (problems.total != 0)
            fail_msg("%s: got %s", cases[i], message);
    }
}

/* The scan's findings and the parser's one are told together. */
static void test_all_at_once(void **state)
{
    (void)state;
    struct problems problems = { 0 };

    first_message("a = 1e400;\nb = .;\nc == 1;\nd = 99999999999;\n", &problems);
    assert_int_equal(problems.total, 4);
    assert_non_null(strstr(problems.lines[0], "f.cfg:1: 1e400"));
    assert_non_null(strstr(problems.lines[1], "f.cfg:2: \".\""));
    assert_non_null(strstr(problems.lines[2], "f.cfg:4: integer"));
    assert_string_equal(problems.lines[3], "f.cfg:3: syntax error at or before: c == 1;   "
                                           "(expected NAME = VALUE;)");
    problems_free(&problems);
}

static void test_what_the_parser_wanted(void **state)
{
    (void)state;
    static const struct {
        const char *text;
        const char *line;
        const char *says;
    } cases[] = {
        { "a = ( 1, 2, );\n", "f.cfg:1: ", "no comma before the closing bracket" },
        { "a = (\n  1,\n  2,\n);\n", "f.cfg:4: ", "no comma before the closing bracket" },
        { "a = [ 1,\n];\n", "f.cfg:2: ", "no comma before the closing bracket" },
        { "a = ,;\n", "f.cfg:1: ", "NAME = VALUE;" },
        { "a = ( 1 ) );\n", "f.cfg:1: ", "NAME = VALUE;" },
        { "a = 1;\na = 2;\n", "f.cfg:2: ", "each name once in a group" },
        { "a = ( 1, 2\n", "f.cfg:1: ", "what closes it" },
    };

    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        struct problems problems = { 0 };
        const char *message = first_message(cases[i].text, &problems);
        if (strncmp(message, cases[i].line, strlen(cases[i].line)) != 0 ||
            strstr(message, cases[i].says) == NULL)
            fail_msg("%s gave: %s", cases[i].text, message);
        problems_free(&problems);
    }
}

enum colour { RED, GREEN };

struct target {
    double number;
    double percent;
    int integer;
    size_t bytes;
    bool flag;
    char text[8];
    enum colour colour;
    regex_t pattern;
    bool has_pattern;
};

static const char *const colours[] = { [RED] = "red", [GREEN] = "green", NULL };

static const struct strict_key keys[] = {
    { .name = "number",
      .type = STRICT_NUMBER,
      .offset = offsetof(struct target, number),
      .minimum = 1,
      .maximum = 10,
      .unit = "V",
      .help = "a voltage" },
    { .name = "percent",
      .type = STRICT_NUMBER,
      .offset = offsetof(struct target, percent),
      .scale = 0.01,
      .unit = "%",
      .help = "a share" },
    { .name = "integer",
      .type = STRICT_INTEGER,
      .offset = offsetof(struct target, integer),
      .help = "how many" },
    { .name = "bytes",
      .type = STRICT_SIZE,
      .offset = offsetof(struct target, bytes),
      .help = "how much" },
    { .name = "flag",
      .type = STRICT_BOOL,
      .offset = offsetof(struct target, flag),
      .help = "whether" },
    { .name = "text",
      .type = STRICT_TEXT,
      .offset = offsetof(struct target, text),
      .size = 8,
      .help = "a word" },
    { .name = "colour",
      .type = STRICT_CHOICE,
      .offset = offsetof(struct target, colour),
      .choices = colours,
      .help = "which" },
    { .name = "pattern",
      .type = STRICT_PATTERN,
      .offset = offsetof(struct target, pattern),
      .present = offsetof(struct target, has_pattern),
      .help = "what it matches" },
    { .name = "group", .type = STRICT_GROUP, .help = "more of it" },
    { .name = "list", .type = STRICT_LIST, .help = "a list" },
    { .name = "needed",
      .type = STRICT_BOOL,
      .required = true,
      .offset = offsetof(struct target, flag),
      .help = "cannot be left out" },
    { .name = NULL },
};

static const struct target untouched = { 5.0, 0.5, 7, 8, false, "old", RED, { 0 }, false };

static void test_table_refuses(void **state)
{
    (void)state;
    static const char *const cases[][2] = {
        { "number = 0.5;", "\"number\" is 0.5, expected a number from 1 to 10 V" },
        { "number = 11;", "\"number\" is 11, expected a number from 1 to 10 V" },
        { "number = \"5\";", "\"number\" is a text, expected a number from 1 to 10 V" },
        { "number = true;", "\"number\" is true or false, expected a number" },
        { "number = [ 5.0 ];", "\"number\" is an array [ ... ], expected a number" },
        { "percent = 9007199254740993L;", "\"percent\" is an integer, expected a number in %" },
        { "integer = 5.0;", "\"integer\" is a decimal number, expected an integer" },
        { "integer = 2147483648L;", "\"integer\" is 2147483648, expected an integer" },
        { "bytes = -1;", "\"bytes\" is -1, expected an integer" },
        { "flag = 1;", "\"flag\" is an integer, expected true or false" },
        { "text = \"12345678\";", "\"text\" is 8 bytes long, expected at most 7" },
        { "text = \"\\xFF\";", "\"text\" is not UTF-8" },
        { "text = 5;", "\"text\" is an integer, expected a text" },
        { "colour = \"blue\";", "\"colour\" is \"blue\", expected one of \"red\", \"green\"" },
        { "colour = 1;", "\"colour\" is an integer, expected one of" },
        { "pattern = \"(\";", "\"pattern\" is not a regular expression (" },
        { "pattern = 1;", "\"pattern\" is an integer, expected a text with a regular" },
        { "group = ( );", "\"group\" is a list ( ... ), expected a group { ... }" },
        { "list = { };", "\"list\" is a group { ... }, expected a list ( ... )" },
        { "colur = \"red\";", "unknown key \"colur\", expected perhaps \"colour\"" },
        { "Flag = true;", "unknown key \"Flag\", expected perhaps \"flag\"" },
        { "unrelated = 1;", "unknown key \"unrelated\", expected one of: number, percent, " },
    };

    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        struct problems problems = { 0 };
        struct target target;
        char text[128];
        config_t config;
        memcpy(&target, &untouched, sizeof target);
        snprintf(text, sizeof text, "needed = false;\n%s", cases[i][0]);
        config_init(&config);
        assert_true(strict_read_text(&config, text, strlen(text), "f.cfg", &problems));
        assert_false(strict_group(config_root_setting(&config), keys, &target, &problems));
        assert_int_equal(problems.total, 1);
        assert_true(strncmp(problems.lines[0], "f.cfg:2: ", 9) == 0);
        if (strncmp(problems.lines[0] + 9, cases[i][1], strlen(cases[i][1])) != 0)
            fail_msg("%s: got %s", cases[i][0], problems.lines[0]);
        assert_memory_equal(&target, &untouched, sizeof target);
        problems_free(&problems);
        config_destroy(&config);
    }
}

static void test_table_takes(void **state)
{
    (void)state;
    static const char text[] =
        "number = 5; percent = 2.5; integer = -3L; bytes = 99; text = \"1234567\";\n"
        "colour = \"green\"; pattern = \"^[0-9]+$\"; group = { }; list = [ ]; needed = true;";
    struct problems problems = { 0 };
    struct target target = untouched;
    config_t config;

    config_init(&config);
    assert_true(strict_read_text(&config, text, strlen(text), "f.cfg", &problems));
    assert_true(strict_group(config_root_setting(&config), keys, &target, &problems));
    assert_int_equal(problems.total, 0);
    assert_true(target.number == 5.0);
    assert_true(fabs(target.percent - 0.025) < 1e-15);
    assert_int_equal(target.integer, -3);
    assert_int_equal(target.bytes, 99);
    assert_true(target.flag);
    assert_string_equal(target.text, "1234567");
    assert_int_equal(target.colour, GREEN);
    assert_true(target.has_pattern);
    assert_int_equal(regexec(&target.pattern, "42", 0, NULL, 0), 0);
    assert_int_equal(regexec(&target.pattern, "4a", 0, NULL, 0), REG_NOMATCH);
    regfree(&target.pattern);
    config_destroy(&config);
}

/* Bounds belong to what is taken. */
static void test_table_bounds(void **state)
{
    (void)state;
    static const char *const cases[] = { "number = 1; needed = true;",
                                         "number = 10; needed = true;" };

    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        struct problems problems = { 0 };
        struct target target = untouched;
        config_t config;
        config_init(&config);
        assert_true(strict_read_text(&config, cases[i], strlen(cases[i]), "f.cfg", &problems));
        assert_true(strict_group(config_root_setting(&config), keys, &target, &problems));
        assert_true(target.number == (i == 0 ? 1.0 : 10.0));
        config_destroy(&config);
    }
}

static void test_texts(void **state)
{
    (void)state;
    static const char text[] = "a = [ \"one\", \"two\" ]; b = ( \"one\", 2 ); c = ( );";
    struct problems problems = { 0 };
    char **texts = NULL;
    size_t count = 0;
    config_t config;

    config_init(&config);
    assert_true(strict_read_text(&config, text, strlen(text), "f.cfg", &problems));
    assert_false(strict_texts(config_lookup(&config, "b"), &texts, &count, &problems));
    assert_string_equal(problems.lines[0],
                        "f.cfg:1: an element of \"b\" is an integer, expected a text");
    assert_null(texts);
    assert_true(strict_texts(config_lookup(&config, "a"), &texts, &count, &problems));
    assert_int_equal(count, 2);
    assert_string_equal(texts[1], "two");
    strict_texts_free(texts, count);
    assert_true(strict_texts(config_lookup(&config, "c"), &texts, &count, &problems));
    assert_int_equal(count, 0);
    strict_texts_free(texts, count);
    problems_free(&problems);
    config_destroy(&config);
}

/* However many mistakes: they are all counted, and enough of them are kept. */
static void test_many_problems(void **state)
{
    (void)state;
    struct problems problems = { 0 };

    for (int i = 0; i < 2 * PROBLEMS_MAX; i++)
        problems_add(&problems, "f", i, "%d", i);
    assert_int_equal(problems.total, 2 * PROBLEMS_MAX);
    assert_int_equal(problems.count, PROBLEMS_MAX);
    assert_string_equal(problems.lines[0], "f: 0");
    assert_string_equal(problems.lines[7], "f:7: 7");
    problems_free(&problems);
    assert_int_equal(problems.total, 0);
    problems_add(&problems, NULL, 0, "alone");
    assert_string_equal(problems.lines[0], "alone");
    problems_free(&problems);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_text_refused),
        cmocka_unit_test(test_nul_byte),
        cmocka_unit_test(test_text_taken),
        cmocka_unit_test(test_all_at_once),
        cmocka_unit_test(test_what_the_parser_wanted),
        cmocka_unit_test(test_table_refuses),
        cmocka_unit_test(test_table_takes),
        cmocka_unit_test(test_table_bounds),
        cmocka_unit_test(test_texts),
        cmocka_unit_test(test_many_problems),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
