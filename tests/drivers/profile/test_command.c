/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Command texts with their placeholders filled in. */
#include "drivers/profile/command.h"

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

/* Every name with a value of its own. */
static struct command_values all_values(void)
{
    return (struct command_values) { .range = 0.2,
                                     .input = 10,
                                     .full_scale = 8,
                                     .volts_per_division = 50e-3,
                                     .offset = -2.5,
                                     .position = 3.75,
                                     .position_volts = -0.125,
                                     .duration = 2e-3,
                                     .interval = 1e-6,
                                     .time_per_division = 200e-6,
                                     .points = 2000 };
}

static void bad_texts_are_refused(void **state)
{
    static const char *const texts[] = {
        "{",           "A {",           "{range",        "{}",        "{ranges}",        "{rang}",
        "{Range}",     "{ range}",      "{range }",      "{{range}}", "{input} {wrong}", "{range}{",
        "{range} {in", "{input{range}", "{range;input}",
    };
    struct command_values values = all_values();

    (void)state;
    for (size_t i = 0; i < sizeof texts / sizeof *texts; i++) {
        char filled[COMMAND_SIZE];
        struct failure failure;

        failure_clear(&failure);
        if (command_fill(texts[i], &values, filled, sizeof filled, &failure))
            fail_msg("'%s' was filled in as '%s'", texts[i], filled);
        assert_int_equal(failure.code, FAILURE_SETTINGS);
    }
}

static void names_without_a_value_are_refused(void **state)
{
    const double none[] = { NAN, INFINITY, -INFINITY };

    (void)state;
    for (size_t i = 0; i < sizeof none / sizeof *none; i++) {
        struct command_values values = command_values_none();
        char filled[COMMAND_SIZE];
        struct failure failure;

        failure_clear(&failure);
        values.input = 1;
        values.range = none[i];
        assert_false(command_fill("R{input}:{range}", &values, filled, sizeof filled, &failure));
        assert_int_equal(failure.code, FAILURE_SETTINGS);
        assert_non_null(strstr(failure.what, "{range}"));
    }
}

static void none_has_no_value_at_all(void **state)
{
    static const char *const names[] = {
        "range",          "input",    "full_scale", "volts_per_division", "offset", "position",
        "position_volts", "duration", "interval",   "time_per_division",  "points"
    };
    struct command_values values = command_values_none();

    (void)state;
    for (size_t i = 0; i < sizeof names / sizeof *names; i++) {
        char text[40];
        char filled[COMMAND_SIZE];

        snprintf(text, sizeof text, "{%s}", names[i]);
        assert_false(command_fill(text, &values, filled, sizeof filled, NULL));
    }
}

/* What does not fit is no command, at any size, and nothing is written behind its end. */
static void too_long_texts_are_refused(void **state)
{
    static const char text[] = "SET {range},{input} END";
    static const char whole[] = "SET 0.2,10 END";
    struct command_values values = all_values();

    (void)state;
    for (size_t size = 1; size < sizeof whole + 3; size++) {
        char *filled = malloc(size);
        struct failure failure;
        bool fits = size >= sizeof whole;

        failure_clear(&failure);
        assert_non_null(filled);
        assert_int_equal(command_fill(text, &values, filled, size, &failure), fits);
        assert_int_equal(failure.code, fits ? FAILURE_NONE : FAILURE_SETTINGS);
        if (fits)
            assert_string_equal(filled, whole);
        free(filled);
    }
}

static void names_become_values(void **state)
{
    static const struct {
        const char *text;
        const char *filled;
    } rows[] = {
        { "", "" },
        { "*CLS", "*CLS" },
        { "a } b", "a } b" },
        { "{range}", "0.2" },
        { "(@{input})", "(@10)" },
        { "{full_scale};{volts_per_division}", "8;0.05" },
        { "{offset}{position}", "-2.53.75" },
        { "{position_volts}", "-0.125" },
        { "{duration} {interval}", "0.002 1E-06" },
        { "PACE {time_per_division}", "PACE 0.0002" },
        { "{points}", "2000" },
    };
    struct command_values values = all_values();

    (void)state;
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        char filled[COMMAND_SIZE];

        assert_true(command_fill(rows[i].text, &values, filled, sizeof filled, NULL));
        assert_string_equal(filled, rows[i].filled);
    }
}

static void numbers_are_written_shortly(void **state)
{
    static const struct {
        double number;
        const char *text;
    } rows[] = {
        { 0, "0" },
        { -0.0, "0" },
        { 1, "1" },
        { -1, "-1" },
        { 10, "10" },
        { 1000, "1000" },
        { 20e6, "20000000" },
        { 1e9, "1E+09" },
        { 0.1, "0.1" },
        { 0.1 + 0.2, "0.3" },
        { 1e-6 * 5 / 5, "1E-06" },
        { -2.5e-3, "-0.0025" },
        { 1.0 / 3, "0.333333333333" },
        { 123456.789, "123456.789" },
        { 5e-324, "5E-324" },
    };

    (void)state;
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        char text[32];

        assert_string_equal(command_number(text, sizeof text, rows[i].number), rows[i].text);
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

static void every_number_reads_back(void **state)
{
    uint64_t seed = 0x9e3779b97f4a7c15;

    (void)state;
    print_message("seed %" PRIu64 "\n", seed);
    for (int i = 0; i < 100000; i++) {
        double mantissa = (double)(int64_t)draw(&seed) / 0x1p63;
        double number = ldexp(mantissa, (int)(draw(&seed) % 200) - 100);
        char text[32];
        char *end;
        double read = strtod(command_number(text, sizeof text, number), &end);

        assert_true(*end == '\0' && strlen(text) < 24);
        assert_true(fabs(read - number) <= 5e-12 * fabs(number));
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(bad_texts_are_refused),
        cmocka_unit_test(names_without_a_value_are_refused),
        cmocka_unit_test(none_has_no_value_at_all),
        cmocka_unit_test(too_long_texts_are_refused),
        cmocka_unit_test(names_become_values),
        cmocka_unit_test(numbers_are_written_shortly),
        cmocka_unit_test(every_number_reads_back),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
