/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Aliases, and the time base that avoids them. */
#include "core/waveform/alias.h"
#include "core/waveform/timebase.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <stdlib.h>

#include "tests/near.h"

enum { SEED = 20240613 };

static void frequencies_fold_at_half_the_rate(void **state)
{
    (void)state;
    static const double rows[][3] = { { 10.0, 100.0, 10.0 },  { 90.0, 100.0, 10.0 },
                                      { 110.0, 100.0, 10.0 }, { 50.0, 100.0, 50.0 },
                                      { 1000.0, 100.0, 0.0 }, { 0.0, 100.0, 0.0 } };
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++)
        assert_within(alias_of(rows[i][0], rows[i][1]), rows[i][2], 1e-12);
}

static struct apparent seen(double frequency, double rate)
{
    struct apparent apparent = { alias_of(frequency, rate), 0.01, rate };
    return apparent;
}

/* 190 at 100 a second looks like 10, and like 33 at 157 a second; only 190 explains both below 500. */
static void two_rates_tell_an_alias(void **state)
{
    (void)state;
    double frequency = 7.0;
    struct apparent first = seen(190.0, 100.0), second = seen(190.0, 157.0);
    assert_int_equal(alias_judge(&first, &second, 500.0, &frequency), ALIAS_RESOLVED);
    assert_within(frequency, 190.0, 1e-9);
    first = seen(20.0, 100.0);
    second = seen(20.0, 157.0);
    assert_int_equal(alias_judge(&first, &second, 500.0, &frequency), ALIAS_NONE);
    assert_within(frequency, 20.0, 1e-9);
}

static void rates_in_a_whole_ratio_leave_doubt(void **state)
{
    (void)state;
    double frequency = 7.0, candidates[3];
    struct apparent first = seen(20.0, 100.0), second = seen(20.0, 200.0);
    assert_int_equal(alias_judge(&first, &second, 500.0, &frequency), ALIAS_AMBIGUOUS);
    assert_true(frequency == 7.0);
    assert_int_equal(alias_candidates(&first, &second, 500.0, candidates, 3), 5);
    assert_within(candidates[0], 20.0, 1e-9);
    assert_within(candidates[1], 180.0, 1e-9);
    assert_within(candidates[2], 220.0, 1e-9);
    assert_int_equal(alias_judge(&first, &second, 99.0, &frequency), ALIAS_NONE);
    second.frequency = 31.0;
    assert_int_equal(alias_judge(&first, &second, 500.0, &frequency), ALIAS_UNEXPLAINED);
}

/* Whatever comes out as a frequency is the true one. */
static void no_alias_is_ever_a_frequency(void **state)
{
    (void)state;
    print_message("seed %d\n", SEED);
    srandom(SEED);
    for (int round = 0; round < 20000; round++) {
        double truth = 1000.0 * (double)random() / 2147483648.0;
        struct apparent first = seen(truth, 100.0 + (double)(random() % 300));
        struct apparent second = seen(truth, 100.0 + (double)(random() % 300));
        first.frequency += 0.005;
        double frequency = NAN;
        enum alias_verdict verdict = alias_judge(&first, &second, 1000.0, &frequency);
        if (verdict == ALIAS_NONE || verdict == ALIAS_RESOLVED)
            assert_within(frequency, truth, 0.006);
        else
            assert_true(isnan(frequency));
    }
}

static void the_shortest_record_that_holds_enough_is_taken(void **state)
{
    (void)state;
    static const double durations[] = { 1e-6, 1e-5, 1e-4, 1e-3 };
    struct timebase_need need = timebase_need(ASPECT_RMS);
    size_t choice;
    assert_int_equal(timebase_choose(durations, 4, 1000, 2e5, &need, &choice), WAVE_NONE);
    assert_int_equal(choice, 2);
    assert_int_equal(timebase_choose(durations, 4, 1000, 1e4, &need, &choice), WAVE_NONE);
    assert_int_equal(choice, 3);
    assert_int_equal(timebase_choose(durations, 4, 1000, 1e3, &need, &choice), WAVE_FEW_PERIODS);
    assert_int_equal(choice, 3);
    assert_int_equal(timebase_choose(durations, 4, 1000, 1e9, &need, &choice), WAVE_FEW_SAMPLES);
    assert_int_equal(choice, 0);
    assert_int_equal(timebase_choose(durations, 4, 1000, NAN, &need, &choice), WAVE_FEW_PERIODS);
    need = timebase_need(ASPECT_MAXIMUM);
    assert_int_equal(timebase_choose(durations, 4, 100, 4e5, &need, &choice), WAVE_FEW_SAMPLES);
}

/* Three periods of the lowest candidate, in a record that is shorter than the one seen. */
static void a_faster_record_shows_what_an_alias_stands_for(void **state)
{
    (void)state;
    static const double durations[] = { 1e-6, 1e-5, 1e-4, 1e-3 };
    size_t choice = 9;
    assert_true(timebase_faster(durations, 4, 1e6, TIMEBASE_SHOWS, 1e-3, &choice));
    assert_int_equal(choice, 1);
    assert_true(timebase_faster(durations, 4, 1e9, TIMEBASE_SHOWS, 1e-3, &choice));
    assert_int_equal(choice, 0);
    assert_true(timebase_faster(durations, 4, 0.9e5, TIMEBASE_SHOWS, 1e-3, &choice));
    assert_int_equal(choice, 2);
    choice = 9;
    assert_false(
        timebase_faster(durations, 4, 1e4, TIMEBASE_SHOWS, 1e-3, &choice)); /* only the one seen */
    assert_false(
        timebase_faster(durations, 4, 1.0, TIMEBASE_SHOWS, 1e-3, &choice)); /* not even that */
    assert_false(timebase_faster(durations, 4, 1e9, TIMEBASE_SHOWS, 1e-6, &choice));
    assert_false(timebase_faster(durations, 4, NAN, TIMEBASE_SHOWS, 1e-3, &choice));
    assert_int_equal(choice, 9);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(frequencies_fold_at_half_the_rate),
        cmocka_unit_test(two_rates_tell_an_alias),
        cmocka_unit_test(rates_in_a_whole_ratio_leave_doubt),
        cmocka_unit_test(no_alias_is_ever_a_frequency),
        cmocka_unit_test(a_faster_record_shows_what_an_alias_stands_for),
        cmocka_unit_test(the_shortest_record_that_holds_enough_is_taken),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
