/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Source of all: what libconfig 1.5 does with each text (tried; its scanner.l
 * and grammar.y say the same; issue 69 of its tracker has the integers). What
 * the library reads rightly is read the same, what it refuses stays refused,
 * and what it takes wrongly in silence is refused too, on the right line.
 */
#include "drivers/cfg/strict.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

struct refused {
    const char *id;
    const char *text;
    int line;
    const char *says; /* a part of the first message */
};

static const struct refused refusals[] = {
    { "C3", "x=10737418240;", 1, "integer 10737418240 does not fit" },
    { "C4", "x=4294967297;", 1, "integer 4294967297 does not fit" },
    { "C6", "x=99999999999999999999L;", 1, "does not fit in 64 bits" },
    { "C7", "x=0xFFFFFFFF;", 1, "integer 0xFFFFFFFF does not fit" },
    { "C8", "x=.;", 1, "\".\" is not a number" },
    { "C9", "x=1e400;", 1, "1e400 is too large" },
    { "C10", "x=1e-400;", 1, "1e-400 is too small" },
    { "C12", "x=5mV;", 1, "\"5mV\" is no number, expected 5e-3" },
    { "C14", "x=1;\ny=2;\nx=3;", 3, "duplicate setting name" },
    { "C16", "a=1;\n/* oops\nx=2;\nimportant=true;\n", 2, "a comment begins here and never ends" },
    { "C17", "a=\"oops;\nx=2;\n", 1, "not closed" },
    { "C18", "a=\"oops;\nx=2;\nb=\"hi\";\n", 1, "not closed" },
    { "C20", "x=yes;", 1, "yes stands without quotes" },
    { "C22", "\xEF\xBB\xBFx=1;", 1, "byte-order mark" },
    { "C23", "x=[1,2.0];", 1, "mismatched element type in array" },
    { "C25", "x=[1,2,];", 1, "syntax error" },
    { "C26", "3v3=1;", 1, "\"3v3\" is no number, expected 3.3" },
    { "C27", "a=1;\nb=2;\nc==3;\n", 3, "syntax error" },
    { "C28", "a=1;\n@include \"/nonexistent\"\nx=1;", 2, "cannot read \"/nonexistent\"" },
    { "C29", "a=1;\n@include \"/etc\"\nx=1;", 2, "\"/etc\" is a folder" },
    { "C30", "a=1; @include \"/dev/null\"\n", 1, "at the start of a line" },
    { "C32", "a=\"ab\\x00cd\";", 1, "NUL" },
    { "C34", "x=inf;", 1, "inf stands without quotes" },
    { "C35", "x=nan;", 1, "nan stands without quotes" },
    { "C36", "x=1,5;", 1, "\"1,5\" is no number, expected 1.5" },
    { "C37", "x=-0x10;", 1, "\"-0x10\" is no number" },
};

static void test_refused(void **state)
{
    (void)state;
    for (size_t i = 0; i < sizeof refusals / sizeof *refusals; i++) {
        const struct refused *row = &refusals[i];
        struct problems problems = { 0 };
        char place[32];
        config_t config;

        config_init(&config);
        strict_read_text(&config, row->text, strlen(row->text), "f.cfg", &problems);
        snprintf(place, sizeof place, "f.cfg:%d: ", row->line);
        if (problems.total == 0 || strncmp(problems.lines[0], place, strlen(place)) != 0 ||
            strstr(problems.lines[0], row->says) == NULL)
            fail_msg("%s: got %s", row->id, problems.total > 0 ? problems.lines[0] : "nothing");
        config_destroy(&config);
        problems_free(&problems);
    }
}

/* Reads a text that must be good, and hands over its setting "x" or "a". */
static const config_setting_t *read_good(config_t *config, const char *id, const char *text)
{
    struct problems problems = { 0 };

    config_init(config);
    if (!strict_read_text(config, text, strlen(text), "f.cfg", &problems) || problems.total > 0)
        fail_msg("%s: refused with %s", id, problems.count > 0 ? problems.lines[0] : "nothing");
    const config_setting_t *setting = config_lookup(config, "x");
    return setting != NULL ? setting : config_lookup(config, "a");
}

static void test_numbers(void **state)
{
    (void)state;
    static const struct {
        const char *id;
        const char *text;
        double value;
    } cases[] = {
        { "C1", "x=5;", 5.0 },
        { "C2", "x=5.0;", 5.0 },
        { "C5", "x=10737418240L;", 10737418240.0 },
        { "C11", "x=010;", 10.0 },
        { "C13", "x=5\nV=3;", 5.0 },
        { "C15", "x=1;X=2;", 1.0 },
        { "C31", "x=1;\r\ny=2;\r\n", 1.0 },
    };

    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        struct problems problems = { 0 };
        double value = 0.0;
        config_t config;
        const config_setting_t *x = read_good(&config, cases[i].id, cases[i].text);
        assert_true(strict_number(x, &value, &problems));
        assert_true(value == cases[i].value);
        config_destroy(&config);
    }
}

static void test_other_types(void **state)
{
    (void)state;
    struct problems problems = { 0 };
    double value;
    config_t config;

    const config_setting_t *a = read_good(&config, "C19", "a=\"foo\" \"bar\";");
    assert_string_equal(config_setting_get_string(a), "foobar");
    config_destroy(&config);
    a = read_good(&config, "C24", "x=(1,2.0,\"s\");");
    assert_true(config_setting_is_list(a));
    assert_int_equal(config_setting_length(a), 3);
    config_destroy(&config);
    a = read_good(&config, "C33", "x=true;");
    assert_int_equal(config_setting_type(a), CONFIG_TYPE_BOOL);
    assert_false(strict_number(a, &value, &problems)); /* not readable as a number */
    assert_int_equal(problems.total, 1);
    problems_free(&problems);
    config_destroy(&config);
}

/* C21: an empty file is valid for the library, so that the keys must be demanded. */
static void test_empty(void **state)
{
    (void)state;
    static const struct strict_key keys[] = {
        { .name = "x", .type = STRICT_NUMBER, .required = true, .help = "a number" },
        { .name = NULL },
    };
    struct problems problems = { 0 };
    double x = 0.0;
    config_t config;

    assert_null(read_good(&config, "C21", ""));
    assert_false(strict_group(config_root_setting(&config), keys, &x, &problems));
    assert_string_equal(problems.lines[0], "f.cfg: missing key \"x\", expected a number: a number");
    problems_free(&problems);
    config_destroy(&config);
}

/* The library takes 1000 levels; no settings need a tenth of that. */
static void test_nesting(void **state)
{
    (void)state;
    static const struct {
        size_t depth;
        bool good;
    } cases[] = { { 100, true }, { 101, false }, { 1000, false }, { 10000, false } };

    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        size_t depth = cases[i].depth;
        struct problems problems = { 0 };
        char *text = malloc(2 * depth + 8);
        config_t config;

        assert_non_null(text);
        text[0] = 'x';
        text[1] = '=';
        memset(text + 2, '(', depth);
        memset(text + 2 + depth, ')', depth);
        config_init(&config);
        assert_int_equal(strict_read_text(&config, text, 2 * depth + 2, "f.cfg", &problems),
                         cases[i].good);
        assert_int_equal(problems.total, cases[i].good ? 0 : 1);
        problems_free(&problems);
        config_destroy(&config);
        free(text);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_refused),     cmocka_unit_test(test_numbers),
        cmocka_unit_test(test_other_types), cmocka_unit_test(test_empty),
        cmocka_unit_test(test_nesting),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
