/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Values and units as JCGM 100:2008 7.2.6, EA-4/02 6.3 and the SI Brochure
 * (section 5, 9th edition) want them written.
 */
#include "core/basics/notation.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <string.h>

/* JCGM 100:2008 7.2.6; EA-4/02 6.3 (from memory); own cases. */
static void result_and_uncertainty(void **state)
{
    (void)state;
    static const struct {
        double value;
        double uncertainty;
        int digits;
        const char *unit;
        const char *text;
    } rows[] = {
        { 4.99937, 0.0032, 2, "", "4.9994 ± 0.0032" },
        { 127.73217, 0.07107, 2, "", "127.732 ± 0.071" },
        { 219.84651, 0.29558, 2, "", "219.85 ± 0.30" },
        { 0.0000123456, 0.00000047, 2, "V", "12.35 µV ± 0.47 µV" },
        { 1234567.0, 8900.0, 2, "Hz", "1.2346 MHz ± 0.0089 MHz" },
        { 0.1, 0.05, 1, "V", "0.10 V ± 0.05 V" },
        { -5.47, 0.096, 2, "V", "-5.470 V ± 0.096 V" },
        { 9.9996, 0.0997, 2, "", "10.00 ± 0.10" },
    };
    for (size_t i = 0; i < sizeof(rows) / sizeof(rows[0]); i++) {
        char text[NOTATION_SIZE];
        notation_result(text, sizeof(text), rows[i].value, rows[i].uncertainty, rows[i].digits,
                        rows[i].unit);
        assert_string_equal(text, rows[i].text);
    }
}

/* Own cases on the rules of the SI Brochure: round first, then choose the prefix. */
static void prefix(void **state)
{
    (void)state;
    static const struct {
        double value;
        const char *text;
    } rows[] = {
        { 0.0, "0.000 V" },        { 1e-13, "0.100 pV" },      { 4.7e-12, "4.700 pV" },
        { 9.994e-07, "999.4 nV" }, { 9.9996e-07, "1.000 µV" }, { 1e-06, "1.000 µV" },
        { 0.0005, "500.0 µV" },    { 0.9999, "999.9 mV" },     { 0.99996, "1.000 V" },
        { 1.0, "1.000 V" },        { 999.9, "999.9 V" },       { 999.96, "1.000 kV" },
        { 1000.0, "1.000 kV" },    { 1234567.0, "1.235 MV" },  { 2500000000.0, "2.500 GV" },
    };
    for (size_t i = 0; i < sizeof(rows) / sizeof(rows[0]); i++) {
        char text[NOTATION_SIZE];
        notation_value(text, sizeof(text), rows[i].value, 4, "V");
        assert_string_equal(text, rows[i].text);
        if (rows[i].value > 0.0) {
            char negative[NOTATION_SIZE];
            notation_value(negative, sizeof(negative), -rows[i].value, 4, "V");
            assert_int_equal(negative[0], '-');
            assert_string_equal(negative + 1, text);
        }
    }
}

/*
 * SI Brochure 5.4.3 and NIST SP 811 7.2: one space before the unit, °C and % included;
 * the prefix joins the unit; a zero before the point; k is lower case.
 */
static void spaces_and_prefixes(void **state)
{
    (void)state;
    char text[NOTATION_SIZE];
    assert_string_equal(notation_plain(text, sizeof(text), 23.5, "°C"), "23.5 °C");
    assert_string_equal(notation_plain(text, sizeof(text), 0.25, "%"), "0.25 %");
    assert_string_equal(notation_plain(text, sizeof(text), 10000.0, "Ω"), "10 kΩ");
    assert_string_equal(notation_plain(text, sizeof(text), 0.5, ""), "0.5");
    assert_string_equal(notation_value(text, sizeof(text), 4.7e-6, 2, "F"), "4.7 \xC2\xB5"
                                                                            "F");
    assert_null(strstr(notation_plain(text, sizeof(text), 1e-15, "F"), "  "));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(result_and_uncertainty),
        cmocka_unit_test(prefix),
        cmocka_unit_test(spaces_and_prefixes),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
