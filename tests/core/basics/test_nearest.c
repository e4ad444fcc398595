/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Guessing what somebody meant. */
#include "core/basics/nearest.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

static void test_distance(void **state)
{
    (void)state;
    static const struct {
        const char *word;
        const char *other;
        size_t distance;
    } cases[] = {
        { "", "", 0 },        { "abc", "abc", 0 },  { "", "abc", 3 },
        { "abc", "", 3 },     { "abc", "abd", 1 },  { "abc", "acb", 1 },
        { "abc", "abcd", 1 }, { "abcd", "abc", 1 }, { "kitten", "sitting", 3 },
        { "ca", "abc", 3 },
    };

    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++)
        assert_int_equal(nearest_distance(cases[i].word, cases[i].other), cases[i].distance);
}

static void test_nearest(void **state)
{
    (void)state;
    struct nearest nearest = { 0 };

    nearest_offer(&nearest, "expcted", "quantity");
    assert_null(nearest.word);
    nearest_offer(&nearest, "expcted", "rejected");
    nearest_offer(&nearest, "expcted", "expected");
    nearest_offer(&nearest, "expcted", "excepted");
    assert_string_equal(nearest.word, "expected");
    nearest = (struct nearest) { 0 };
    nearest = (struct nearest) { 0 };
    nearest_offer(&nearest, "RAIL-5V", "rail_3v");
    nearest_offer(&nearest, "RAIL-5V", "rail_5v");
    assert_string_equal(nearest.word, "rail_5v");
    assert_int_equal(nearest.distance, 0);
    nearest = (struct nearest) { 0 };
    nearest_offer(&nearest, "ab", "cd");
    nearest_offer(&nearest, "", "a");
    assert_null(nearest.word);
}

/* A word of the letters a to c, so that many are near each other. */
static void make_word(char word[16])
{
    size_t length = (size_t)random() % 15;
    for (size_t i = 0; i < length; i++)
        word[i] = (char)('a' + random() % 3);
    word[length] = '\0';
}

/* What is weighed in short finds what nearest.h promises of the whole table; own derivation. */
static void test_short_cuts(void **state)
{
    char unknown[16], known[20][16];
    (void)state;
    srandom(1);
    for (int turn = 0; turn < 5000; turn++) {
        struct nearest nearest = { 0 };
        const char *expected = NULL;
        size_t best = 0;
        make_word(unknown);
        for (size_t i = 0; i < 20; i++) {
            make_word(known[i]);
            size_t longer = strlen(unknown) > strlen(known[i]) ? strlen(unknown) : strlen(known[i]);
            size_t allowed = longer < 4 ? 1 : longer / 3 > 2 ? longer / 3 : 2;
            size_t distance = nearest_distance(unknown, known[i]);
            if (distance <= allowed && distance < longer && (expected == NULL || distance < best)) {
                expected = known[i];
                best = distance;
            }
            nearest_offer(&nearest, unknown, known[i]);
        }
        assert_ptr_equal(nearest.word, expected);
        if (expected != NULL)
            assert_int_equal(nearest.distance, best);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_distance),
        cmocka_unit_test(test_nearest),
        cmocka_unit_test(test_short_cuts),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
