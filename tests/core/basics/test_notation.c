/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "core/basics/notation.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <float.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { SEED = 20240612, ROUNDS = 50000 };

struct value_case {
    double value;
    int digits;
    const char *unit;
    const char *text;
};

static void check_values(const struct value_case *cases, size_t count)
{
    for (size_t i = 0; i < count; i++) {
        char text[NOTATION_SIZE];
        notation_value(text, sizeof(text), cases[i].value, cases[i].digits, cases[i].unit);
        assert_string_equal(text, cases[i].text);
    }
}

#define CHECK_VALUES(cases) check_values(cases, sizeof(cases) / sizeof((cases)[0]))

static void what_is_no_number_is_not_written_as_one(void **state)
{
    (void)state;
    static const struct value_case cases[] = {
        { NAN, 4, "V", "-" },
        { -NAN, 4, "V", "-" },
        { INFINITY, 4, "V", "inf" },
        { -INFINITY, 4, "V", "-inf" },
    };
    CHECK_VALUES(cases);
    char text[NOTATION_SIZE];
    assert_string_equal(notation_plain(text, sizeof(text), NAN, "V"), "-");
    assert_string_equal(notation_plain(text, sizeof(text), -INFINITY, "V"), "-inf");
    assert_string_equal(notation_result(text, sizeof(text), NAN, 1.0, 2, "V"), "-");
    assert_string_equal(notation_result(text, sizeof(text), INFINITY, 1.0, 2, "V"), "inf");
}

static void an_unusable_uncertainty_is_not_written(void **state)
{
    (void)state;
    static const double unusable[] = { NAN, 0.0, -0.0, INFINITY, -0.1 };
    for (size_t i = 0; i < sizeof(unusable) / sizeof(unusable[0]); i++) {
        char text[NOTATION_SIZE];
        notation_result(text, sizeof(text), 5.0132, unusable[i], 2, "V");
        assert_string_equal(text, "5.01320 V");
    }
}

static void zero_has_no_sign(void **state)
{
    (void)state;
    static const struct value_case cases[] = {
        { -0.0, 4, "V", "0.000 V" },
        { -1e-20, 4, "V", "0.000 pV" },
        { 0.0, 1, "V", "0 V" },
        { -0.0, 3, "", "0.00" },
    };
    CHECK_VALUES(cases);
    char text[NOTATION_SIZE];
    assert_string_equal(notation_plain(text, sizeof(text), -0.0, "V"), "0 V");
    notation_result(text, sizeof(text), -1e-6, 0.01, 2, "V");
    assert_string_equal(text, "0 mV ± 10 mV");
}

static void the_far_ends_stay_readable(void **state)
{
    (void)state;
    static const struct value_case cases[] = {
        { 5e-324, 4, "V", "0.000 pV" },
        { 2.5e12, 4, "Hz", "2500 GHz" },
        { 1e23, 4, "Hz", "100000000000000 GHz" },
        { 1e24, 4, "Hz", "1.000e24 Hz" },
        { -DBL_MAX, 4, "V", "-1.798e308 V" },
        { 5e-324, 2, "%", "4.9e-324 %" },
        { 0.0000012, 2, "%", "0.0000012 %" },
        { 0.00000012, 2, "%", "1.2e-7 %" },
        { 1e15, 2, "%", "1.0e15 %" },
    };
    CHECK_VALUES(cases);
}

static void only_known_units_take_a_prefix(void **state)
{
    (void)state;
    static const struct value_case cases[] = {
        { 0.0253, 3, "°C", "0.0253 °C" }, { 2530.0, 3, "°C", "2530 °C" },
        { 0.0253, 3, "%", "0.0253 %" },   { 1500.0, 4, "mm", "1500 mm" },
        { 1500.0, 4, "div", "1500 div" }, { 1500.0, 4, "", "1500" },
        { 0.0253, 3, "A", "25.3 mA" },    { 4700.0, 2, "Ω", "4.7 kΩ" },
        { 123.0, 2, "V", "120 V" },
    };
    CHECK_VALUES(cases);
}

static void results_with_the_unit_twice(void **state)
{
    (void)state;
    char text[NOTATION_SIZE];
    assert_string_equal(notation_result(text, sizeof(text), 5.0132, 0.0041, 1, "V"),
                        "5.013 V ± 0.004 V");
    assert_string_equal(notation_result(text, sizeof(text), 5.0132, 0.0041, 2, "V"),
                        "5.0132 V ± 0.0041 V");
    assert_string_equal(notation_result(text, sizeof(text), 0.0253, 0.0001, 2, ""),
                        "0.02530 ± 0.00010");
    assert_string_equal(notation_result(text, sizeof(text), 21.53, 0.42, 1, "°C"),
                        "21.5 °C ± 0.4 °C");
}

/* EA-4/02 6.3: up where rounding would take more than 5 % of the uncertainty away. */
static void an_uncertainty_is_not_rounded_away(void **state)
{
    (void)state;
    static const struct {
        double uncertainty;
        int digits;
        const char *text;
    } cases[] = {
        { 1.4, 1, "100 V ± 2 V" },       { 1.06, 1, "100 V ± 2 V" },
        { 1.04, 1, "100 V ± 1 V" },      { 9.49, 1, "0.10 kV ± 0.01 kV" },
        { 1.049, 2, "100.0 V ± 1.0 V" }, { 1.051, 2, "100.0 V ± 1.1 V" },
    };
    for (size_t i = 0; i < sizeof(cases) / sizeof(cases[0]); i++) {
        char text[NOTATION_SIZE];
        notation_result(text, sizeof(text), 100.0, cases[i].uncertainty, cases[i].digits, "V");
        assert_string_equal(text, cases[i].text);
    }
}

static void an_uncertainty_may_exceed_its_value(void **state)
{
    (void)state;
    char text[NOTATION_SIZE];
    notation_result(text, sizeof(text), 0.003, 2.0, 2, "V");
    assert_string_equal(text, "0.0 V ± 2.0 V");
    notation_result(text, sizeof(text), 0.06, 2.0, 2, "V");
    assert_string_equal(text, "0.1 V ± 2.0 V");
    notation_result(text, sizeof(text), 0.0, 0.00032, 2, "V");
    assert_string_equal(text, "0.00 mV ± 0.32 mV");
    notation_result(text, sizeof(text), 0.0, 0.00000032, 2, "V");
    assert_string_equal(text, "0.00 µV ± 0.32 µV");
    notation_result(text, sizeof(text), -7.0, 11.0, 1, "V");
    assert_string_equal(text, "-0.01 kV ± 0.02 kV");
}

/* A double has 16 places after its first digit; an uncertainty below them is stated there. */
static void an_uncertainty_below_the_last_digit_grows_to_it(void **state)
{
    (void)state;
    char text[NOTATION_SIZE];
    notation_result(text, sizeof(text), 1.0, 1e-30, 2, "V");
    assert_string_equal(text, "1.0000000000000000 V ± 0.0000000000000001 V");
    notation_result(text, sizeof(text), 1.0, 3.2e-16, 2, "V");
    assert_string_equal(text, "1.0000000000000000 V ± 0.0000000000000004 V");
}

static void results_far_out_take_a_power(void **state)
{
    (void)state;
    char text[NOTATION_SIZE];
    notation_result(text, sizeof(text), 1e-30, 1e-31, 2, "V");
    assert_string_equal(text, "1.00e-30 V ± 0.10e-30 V");
    notation_result(text, sizeof(text), 0.0, 5e-324, 2, "V");
    assert_string_equal(text, "0.0e-324 V ± 4.9e-324 V");
    notation_result(text, sizeof(text), DBL_MAX, DBL_MAX, 2, "V");
    assert_string_equal(text, "1.8e308 V ± 1.8e308 V");
}

static void settings_as_a_person_would_write_them(void **state)
{
    (void)state;
    static const struct {
        double value;
        const char *unit;
        const char *text;
    } cases[] = {
        { 0.2, "V", "200 mV" },    { 40.0, "V", "40 V" },      { 4.75, "V", "4.75 V" },
        { 1500.0, "Ω", "1.5 kΩ" }, { 1e6, "Hz", "1 MHz" },     { 750.0, "V", "750 V" },
        { -5.25, "V", "-5.25 V" }, { 0.0, "V", "0 V" },        { 1e-13, "V", "0.1 pV" },
        { 1e-30, "V", "1e-30 V" }, { 2e12, "Hz", "2000 GHz" }, { 0.05, "%", "0.05 %" },
        { 40.0, "°C", "40 °C" },   { 1e10, "Ω", "10 GΩ" },     { 1e-6, "V", "1 µV" },
        { 12e-12, "F", "12 pF" },  { 1.25, "", "1.25" },       { 1e300, "V", "1e300 V" },
    };
    for (size_t i = 0; i < sizeof(cases) / sizeof(cases[0]); i++) {
        char text[NOTATION_SIZE];
        notation_plain(text, sizeof(text), cases[i].value, cases[i].unit);
        assert_string_equal(text, cases[i].text);
    }
}

/* Accepted on input both ways, written one way (SI Brochure, 9th edition, Table 7). */
static void micro_is_always_the_same_character(void **state)
{
    (void)state;
    char text[NOTATION_SIZE];
    assert_string_equal(notation_plain(text, sizeof(text), 5e-6, "V"), "5 \xC2\xB5V");
}

static double random_mantissa(void)
{
    return 1.0 + 9.0 * (double)random() / 2147483648.0;
}

static double random_magnitude(void)
{
    double value = random_mantissa() * pow(10.0, (double)(random() % 630 - 320));
    return random() % 2 == 0 ? value : -value;
}

/* Nothing is ever cut: the text of each half ends in the whole unit, and fits. */
static void every_text_fits(void **state)
{
    (void)state;
    print_message("seed %d\n", SEED);
    srandom(SEED);
    static const char *const units[] = { "V", "Ω", "abcdefghijklmno", "" };
    for (int i = 0; i < ROUNDS; i++) {
        const char *unit = units[i % 4];
        double value = random_magnitude();
        double uncertainty = fabs(i % 2 == 0 ? random_magnitude() : value * 1e-15);
        if (!isfinite(value) || !isfinite(uncertainty))
            continue;
        char text[4 * NOTATION_SIZE];
        notation_result(text, sizeof(text), value, uncertainty, 1 + i % 2, unit);
        assert_true(strlen(text) < NOTATION_SIZE);
        notation_value(text, sizeof(text), value, 1 + i % 15, unit);
        assert_true(strlen(text) < NOTATION_SIZE);
        notation_plain(text, sizeof(text), value, unit);
        assert_true(strlen(text) < NOTATION_SIZE);
    }
}

/* The number that stands before a prefix and unit, as it reads back. */
static double read_back(const char *text)
{
    static const struct {
        const char *unit;
        double factor;
    } units[] = { { " V", 1.0 },    { " mV", 1e-3 }, { " µV", 1e-6 }, { " nV", 1e-9 },
                  { " pV", 1e-12 }, { " kV", 1e3 },  { " MV", 1e6 },  { " GV", 1e9 } };
    char *end = NULL;
    double number = strtod(text, &end);
    for (size_t i = 0; i < sizeof(units) / sizeof(units[0]); i++) {
        size_t length = strlen(units[i].unit);
        if (strncmp(end, units[i].unit, length) == 0)
            return number * units[i].factor;
    }
    fail_msg("no unit in \"%s\"", text);
    return NAN;
}

/* What is written is the value to half a place, and an uncertainty never below 95 % of the true. */
static void what_is_written_reads_back(void **state)
{
    (void)state;
    print_message("seed %d\n", SEED);
    srandom(SEED);
    for (int i = 0; i < ROUNDS; i++) {
        double value = random_mantissa() * pow(10.0, (double)(random() % 18 - 9));
        double uncertainty = value * 3.0 * pow(random_mantissa(), -6.0);
        int digits = 1 + i % 2;
        char text[NOTATION_SIZE];
        notation_result(text, sizeof(text), value, uncertainty, digits, "V");
        const char *second = strstr(text, " ± ");
        assert_non_null(second);
        double stated = read_back(second + strlen(" ± "));
        assert_true(stated >= 0.95 * uncertainty * (1.0 - 1e-12));
        assert_true(stated <= uncertainty * (digits == 1 ? 2.0 : 1.06));
        double step = pow(10.0, floor(log10(stated * (1.0 + 1e-9))) - digits + 1.0);
        assert_true(fabs(read_back(text) - value) <= 0.5 * step * (1.0 + 1e-12));
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(what_is_no_number_is_not_written_as_one),
        cmocka_unit_test(an_unusable_uncertainty_is_not_written),
        cmocka_unit_test(zero_has_no_sign),
        cmocka_unit_test(the_far_ends_stay_readable),
        cmocka_unit_test(only_known_units_take_a_prefix),
        cmocka_unit_test(results_with_the_unit_twice),
        cmocka_unit_test(an_uncertainty_is_not_rounded_away),
        cmocka_unit_test(an_uncertainty_may_exceed_its_value),
        cmocka_unit_test(an_uncertainty_below_the_last_digit_grows_to_it),
        cmocka_unit_test(results_far_out_take_a_power),
        cmocka_unit_test(settings_as_a_person_would_write_them),
        cmocka_unit_test(micro_is_always_the_same_character),
        cmocka_unit_test(every_text_fits),
        cmocka_unit_test(what_is_written_reads_back),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
