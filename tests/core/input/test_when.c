/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What is waited for, in words; and whether a record shows it. */
#include "core/input/when.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static void other_words_are_refused(void **state)
{
    static const char *const texts[] = {
        "",
        "rises",
        "rises through",
        "rises through ",
        "rises through V",
        "rises trough 2 V",
        "rise through 2 V",
        "risesthrough 2 V",
        "through 2 V",
        "falls through 2 A",
        "falls through 2 VV",
        "falls through 2 V now",
        "falls through 0x2 V",
        "falls through nan V",
        "falls through inf",
        "falls through - 2",
        "falls through 1e400",
        "falls through 1e308 MV",
        "falls through 2,5 V",
        "leaves 2..3 V",
        "falls through 2 xV",
        "falls through 2 kkV",
        "falls through 2 V 2222222222222222222222222222222222222222",
    };
    struct when when = { false, 77 };

    (void)state;
    for (size_t i = 0; i < sizeof texts / sizeof *texts; i++) {
        struct failure failure = { 0 };

        if (when_read(texts[i], "V", &when, &failure))
            fail_msg("\"%s\" was taken", texts[i]);
        assert_int_equal(failure.code, FAILURE_SETTINGS);
        assert_true(failure.what[0] != '\0' && when.level == 77);
    }
}

static void words_say_way_and_level(void **state)
{
    static const struct {
        const char *text;
        const char *unit;
        bool rising;
        double level;
    } rows[] = {
        { "rises through 2.5 V", "V", true, 2.5 },
        { "falls through 300 mV", "V", false, 0.3 },
        { "falls through 300mV", "V", false, 0.3 },
        { "  falls  through  -1.5e1 ", "V", false, -15 },
        { "rises through .5", "V", true, 0.5 },
        { "rises through 3 µA", "A", true, 3e-6 },
        { "rises through 3 uA", "A", true, 3e-6 },
        { "rises through 2 kV", "V", true, 2000 },
        { "rises through 20 °C", "°C", true, 20 },
        { "rises through 2 m", "m", true, 2 },
    };

    (void)state;
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        struct failure failure = { 0 };
        struct when when;

        if (!when_read(rows[i].text, rows[i].unit, &when, &failure))
            fail_msg("\"%s\" was refused", rows[i].text);
        assert_true(when.rising == rows[i].rising);
        assert_true(fabs(when.level - rows[i].level) <= 1e-15 * fabs(rows[i].level));
    }
}

/* Words put together at random: never a crash, never a level that is not a number. */
static void any_text_is_taken_or_refused(void **state)
{
    static const char *const parts[] = { "rises ", "falls ", "through ", "2.5", " V", "m", "-",
                                         "1e9",    "0x",     "\xc2\xb5", "   ", "e",  ".", "\xff" };
    unsigned seed = 20261201;

    (void)state;
    for (int n = 0; n < 200000; n++) {
        char text[128] = "";
        struct when when;
        struct failure failure = { 0 };

        for (int k = rand_r(&seed) % 8; k >= 0; k--)
            strcat(text, parts[(size_t)rand_r(&seed) % (sizeof parts / sizeof *parts)]);
        if (when_read(text, "V", &when, &failure))
            assert_true(isfinite(when.level) && strstr(text, "through ") != NULL);
        else
            assert_int_equal(failure.code, FAILURE_SETTINGS);
    }
}

enum { COUNT = 100 };

/* From one level to another at a sample, linear over so many. */
static void edge(double *samples, double from, double to, int at, int length)
{
    for (int i = 0; i < COUNT; i++) {
        double share = fmin(fmax((i - at + length / 2.0) / length, 0), 1);

        samples[i] = from + (to - from) * share;
    }
}

static void a_record_shows_its_edge_or_not(void **state)
{
    double samples[COUNT];

    (void)state;
    edge(samples, 0, 5, 20, 1);
    assert_true(when_shown(samples, COUNT, 20, 2, true, 2.5, 0.2));
    assert_false(when_shown(samples, COUNT, 20, 2, false, 2.5, 0.2)); /* the other way */
    assert_false(when_shown(samples, COUNT, 30, 2, true, 2.5, 0.2));  /* another place */
    assert_false(when_shown(samples, COUNT, 20, 2, true, 5.5, 0.2));  /* never gets there */
    assert_false(when_shown(samples, COUNT, 20, 2, true, -0.5, 0.2));
    assert_false(when_shown(samples, COUNT, 20, 2, true, NAN, 0.2));
    /* A slow one is near the level for long on either side. */
    edge(samples, 2.4, 2.6, 50, 100);
    assert_true(when_shown(samples, COUNT, 50, 2, true, 2.5, 0.05));
    assert_false(when_shown(samples, COUNT, 50, 2, false, 2.5, 0.05));
    /* Nowhere surely on a side: it shows nothing. */
    assert_false(when_shown(samples, COUNT, 50, 2, true, 2.5, 0.2));
    /* A spike of one sample passes it both ways. */
    edge(samples, 0, 0, 50, 1);
    samples[50] = 5;
    assert_true(when_shown(samples, COUNT, 50, 2, true, 2.5, 0.2));
    assert_true(when_shown(samples, COUNT, 50, 2, false, 2.5, 0.2));
    assert_false(when_shown(samples, COUNT, 40, 2, true, 2.5, 0.2));
    /* At the first and the last sample of the record. */
    edge(samples, 0, 5, 1, 1);
    assert_true(when_shown(samples, COUNT, 0, 2, true, 2.5, 0.2));
    edge(samples, 0, 5, COUNT - 1, 1);
    assert_true(when_shown(samples, COUNT, COUNT - 1, 2, true, 2.5, 0.2));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(other_words_are_refused),
        cmocka_unit_test(words_say_way_and_level),
        cmocka_unit_test(any_text_is_taken_or_refused),
        cmocka_unit_test(a_record_shows_its_edge_or_not),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
