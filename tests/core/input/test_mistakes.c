/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "core/input/mistakes.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <string.h>

#include <cmocka.h>

#include "tests/near.h"

/* A good dc reading of 5 V on a scope's bare input. */
static struct circumstances good(void)
{
    return (struct circumstances) { .aspect = ASPECT_DC,
                                    .unit = "V",
                                    .value = 5.01,
                                    .uncertainty = 0.02,
                                    .expected = 5,
                                    .tolerance = 0.1,
                                    .low = -INFINITY,
                                    .high = INFINITY,
                                    .peak = 5.1,
                                    .rating = 300,
                                    .input_peak = 5.1,
                                    .input_rating = 300,
                                    .source_resistance = NAN,
                                    .scope = true,
                                    .bare = true,
                                    .ac_coupling = true,
                                    .zero_level = 0.05,
                                    .zero_bound = 0.1,
                                    .leads_age = NAN,
                                    .leads_most = 60,
                                    .instrument = "scope",
                                    .calibration_due = "2020-01-31" };
}

static void expect(const struct circumstances *facts, enum mistake_kind kind)
{
    struct mistake found[MISTAKE_COUNT];
    assert_int_equal(mistakes_find(facts, found), 1);
    assert_int_equal(found[0].kind, kind);
    assert_true(strlen(found[0].words) > 20 && strlen(found[0].words) < sizeof found[0].words - 1);
}

static void expect_none(const struct circumstances *facts)
{
    struct mistake found[MISTAKE_COUNT];
    assert_int_equal(mistakes_find(facts, found), 0);
}

static void nothing_is_wrong(void **state)
{
    (void)state;
    struct circumstances facts = good();
    expect_none(&facts);
    facts.expected = facts.rating = facts.input_peak = facts.zero_level = NAN;
    expect_none(&facts);
}

static void each_value_tells_its_mistake(void **state)
{
    (void)state;
    static const struct {
        double value;
        int kind;
    } rows[] = {
        { 50, MISTAKE_PROBE_SWITCH },
        { 45.1, MISTAKE_PROBE_SWITCH },
        { 44.8, -1 },
        { 0.5, MISTAKE_PROBE_SWITCH },
        { 0.3, -1 },
        { 2.5, MISTAKE_TERMINATION },
        { 2.8, -1 },
        { 0.01, MISTAKE_AC_COUPLING },
        { -0.05, MISTAKE_AC_COUPLING },
        { -5, -1 },
        { 5.5, -1 },
    };
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        struct circumstances facts = good();
        facts.value = rows[i].value;
        if (rows[i].kind < 0)
            expect_none(&facts);
        else
            expect(&facts, (enum mistake_kind)rows[i].kind);
    }
}

/* A switch at x1 or x10 where nothing is expected; that it divides by ten is common practice, no source. */
static void limits_tell_of_a_switch(void **state)
{
    (void)state;
    static const struct {
        double low, high, value;
        bool told;
    } rows[] = {
        { 4.75, 5.25, 50, true },
        { 4.75, 5.25, 0.5, true },
        { 4.75, 5.25, 5.3, false },
        { 4.75, 5.25, 0.3, false },
        { 4.75, 5.25, -50, false },
        { -5.25, -4.75, -0.5, true },
        { -5.25, -4.75, -50, true },
        { -INFINITY, 6, 50, true },
        { -INFINITY, 6, 6.5, false },
        { -INFINITY, 6, 0.5, false },
        { 4.5, INFINITY, 0.5, true },
        { 4.5, INFINITY, 0.05, false },
        { 4.5, INFINITY, 50, false },
        { -INFINITY, -4.75, -0.5, true },
        { -1, 1, 8, true },
        { -1, 1, -8, true },
        { -1, 1, 1.5, false },
        { 2, 10, 60, true },
        { -INFINITY, INFINITY, 50, false },
    };
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        struct circumstances facts = good();
        facts.expected = NAN;
        facts.low = rows[i].low;
        facts.high = rows[i].high;
        facts.value = rows[i].value;
        if (rows[i].told)
            expect(&facts, MISTAKE_PROBE_SWITCH);
        else
            expect_none(&facts);
        facts.uncertainty = 100;
        expect_none(&facts);
    }
}

/* 10 uV where 12 V should be, by what is expected or by the limits; common practice, no source. */
static void an_open_lead_is_named(void **state)
{
    (void)state;
    static const struct {
        double expected, low, high, value;
        bool told;
    } rows[] = {
        { 12, -INFINITY, INFINITY, 10e-6, true }, { 12, -INFINITY, INFINITY, -10e-6, true },
        { 12, -INFINITY, INFINITY, 0.3, false },  { 0, -INFINITY, INFINITY, 10e-6, false },
        { NAN, 11.4, 12.6, 10e-6, true },         { NAN, -12.6, -11.4, 10e-6, true },
        { NAN, 11.4, INFINITY, 10e-6, true },     { NAN, -INFINITY, 12.6, 10e-6, false },
        { NAN, -0.1, 0.1, 10e-6, false },         { NAN, -INFINITY, INFINITY, 10e-6, false },
    };
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        struct circumstances facts = good();
        facts.scope = facts.ac_coupling = false;
        facts.uncertainty = 1e-5;
        facts.expected = rows[i].expected;
        facts.low = rows[i].low;
        facts.high = rows[i].high;
        facts.value = rows[i].value;
        if (rows[i].told)
            expect(&facts, MISTAKE_OPEN_LEAD);
        else
            expect_none(&facts);
        facts.aspect = ASPECT_WHOLE;
        expect_none(&facts);
    }
}

static void a_look_too_short_is_told(void **state)
{
    (void)state;
    struct circumstances facts = good();
    facts.record = 0.02;
    facts.passing = true;
    expect(&facts, MISTAKE_RECORD_ONLY);
    facts.passing = false;
    facts.no_period = true;
    expect(&facts, MISTAKE_RECORD_ONLY);
}

/* What is too uncertain tells nothing: zero is close to zero and to a tenth of nearly zero. */
static void an_uncertain_reading_tells_nothing(void **state)
{
    (void)state;
    struct circumstances facts = good();
    facts.value = 0.5;
    facts.uncertainty = 5;
    expect_none(&facts);
    facts.value = facts.expected = 0;
    facts.uncertainty = 0.01;
    expect_none(&facts);
}

static void fifty_ohm_divide_with_the_source(void **state)
{
    (void)state;
    struct circumstances facts = good();
    facts.source_resistance = 150;
    facts.value = 5 * 50 / 200.0;
    expect(&facts, MISTAKE_TERMINATION);
    facts.bare = false;
    expect_none(&facts);
    facts.bare = true;
    facts.scope = false;
    expect_none(&facts);
    facts = good();
    facts.source_resistance = 0.1; /* cannot be told apart, and does no harm */
    facts.value = 5 * 50 / 50.1;
    expect_none(&facts);
}

static void ratings_of_probe_and_input(void **state)
{
    (void)state;
    struct circumstances facts = good();
    facts.peak = 300.1;
    expect(&facts, MISTAKE_RATING);
    facts.peak = 300;
    facts.input_peak = 301;
    expect(&facts, MISTAKE_RATING);
}

static void places_and_dates(void **state)
{
    (void)state;
    struct circumstances facts = good();
    facts.zero_level = -0.2;
    expect(&facts, MISTAKE_GROUND_REFERENCE);
    facts = good();
    facts.mains_referenced = true;
    expect(&facts, MISTAKE_GROUND_CLIP);
    facts.isolated = true;
    expect_none(&facts);
    facts = good();
    facts.overdue = true;
    expect(&facts, MISTAKE_CALIBRATION);
    facts = good();
    facts.leads_age = 60;
    expect_none(&facts);
    facts.leads_age = 60.1;
    expect(&facts, MISTAKE_LEAD_ZERO);
    facts.leads_age = -1;
    expect(&facts, MISTAKE_LEAD_ZERO);
}

static void the_gravest_is_first(void **state)
{
    (void)state;
    struct circumstances facts = good();
    struct mistake found[MISTAKE_COUNT];
    facts.overdue = facts.mains_referenced = true;
    facts.peak = 1000;
    assert_int_equal(mistakes_find(&facts, found), 3);
    assert_int_equal(found[0].kind, MISTAKE_RATING);
    assert_string_equal(mistake_key(found[0].kind), "rating");
}

/* What can break something blocks, what makes a reading doubtful warns; own rule. */
static void what_is_dangerous_blocks_by_default(void **state)
{
    (void)state;
    for (int kind = 0; kind < MISTAKE_COUNT; kind++) {
        bool dangerous = kind == MISTAKE_RATING || kind == MISTAKE_GROUND_CLIP;
        assert_int_equal(mistake_default((enum mistake_kind)kind),
                         dangerous ? MISTAKE_BLOCK : MISTAKE_WARN);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(nothing_is_wrong),
        cmocka_unit_test(each_value_tells_its_mistake),
        cmocka_unit_test(limits_tell_of_a_switch),
        cmocka_unit_test(an_open_lead_is_named),
        cmocka_unit_test(a_look_too_short_is_told),
        cmocka_unit_test(an_uncertain_reading_tells_nothing),
        cmocka_unit_test(fifty_ohm_divide_with_the_source),
        cmocka_unit_test(ratings_of_probe_and_input),
        cmocka_unit_test(places_and_dates),
        cmocka_unit_test(the_gravest_is_first),
        cmocka_unit_test(what_is_dangerous_blocks_by_default),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
