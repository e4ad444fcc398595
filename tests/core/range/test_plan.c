/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The range planner against brute force, and against signals that make a
 * planner hunt. The instruments are ideal but for their converter, so that
 * what is counted is the planner's doing. Choosing the finest setting that
 * still shows the signal is common practice, no source.
 */
#include "core/range/plan.h"
#include "tests/core/bench_tables.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>

#include <cmocka.h>

#include "tests/near.h"

enum { SIGNALS = 100000, SHIFTS = 20, SEED = 20261125 };

/* A signal that a test plays: its extremes in one acquisition, by number. */
struct player {
    double low;
    double high;
    double noise;                                     /* half-width, uniform */
    double (*moves)(const struct player *, size_t k); /* added in acquisition k; may be NULL */
    unsigned short state[3];
};

static struct player steady(double value)
{
    struct player player = { value, value, 0, NULL, { 1, 2, 3 } };
    return player;
}

static double quantised(double value, double centre, double step)
{
    return centre + round((value - centre) / step) * step;
}

/* One acquisition by an ideal instrument; reports to the plan. */
static void play(struct plan *plan, struct player *player, const struct setup *setup)
{
    const struct front_end *input = plan->chain.input;
    double step = input->ranges[setup->range].resolution;
    double low, high;
    setup_window(input, setup, &low, &high);
    double move = player->moves ? player->moves(player, plan->step_count) : 0;
    move += player->noise * (2 * erand48(player->state) - 1);
    double mean = (player->low + player->high) / 2;
    double blocked = setup->coupling == COUPLING_AC ? mean : 0;
    double a = quantised(player->low + move - blocked, (low + high) / 2, step);
    double b = quantised(player->high + move - blocked, (low + high) / 2, step);
    double margin = input->vertical ? step / 2 : -step / 2;
    bool over = b > high - margin;
    bool under = a < low + margin && low < 0;
    if (over || under) {
        plan_overload(plan, !input->vertical || (over && under) ? SIDE_UNKNOWN
                            : over                              ? SIDE_HIGH
                                                                : SIDE_LOW);
        return;
    }
    double value = plan->chain.aspect == ASPECT_PEAK_TO_PEAK ? b - a : b;
    struct signal signal = {
        .value = value, .mean = (a + b) / 2, .low = a, .high = b, .samples = 1, .frequency = 1000
    };
    plan_reading(plan, &signal);
}

static enum plan_action finish(struct plan *plan, struct player *player, struct failure *failure)
{
    struct setup setup;
    enum plan_action action;
    while ((action = plan_next(plan, &setup, failure)) == PLAN_ACQUIRE)
        play(plan, player, &setup);
    return action;
}

static enum plan_action run_cold(struct plan *plan, const struct bench_table *table,
                                 struct player *player, struct failure *failure)
{
    failure_clear(failure);
    plan_start(plan, &table->chain, NULL);
    return finish(plan, player, failure);
}

static const struct setup *settled(const struct plan *plan)
{
    assert_int_equal(plan->steps[plan->step_count - 1].outcome, STEP_SETTLED);
    return &plan->steps[plan->step_count - 1].setup;
}

static double settled_volts_per_division(const struct plan *plan)
{
    return plan->chain.input->ranges[settled(plan)->range].volts_per_division;
}

/* Whether a setup shows a dc level, and the zero trace where it was moved. */
static bool shows(const struct front_end *input, const struct setup *setup, double value)
{
    double step = input->ranges[setup->range].resolution;
    double low, high;
    setup_window(input, setup, &low, &high);
    if (!input->vertical)
        return fabs(value) <= high;
    bool zero = setup->position == 0 || (low <= -step && high >= step);
    return zero && value < high - step / 2 && value > low + step / 2;
}

/* The smallest uncertainty of all setups, by trying them all. */
static double brute_force(const struct bench_table *table, double value, size_t *range)
{
    const struct front_end *input = &table->input;
    struct signal signal = signal_level(value);
    double best = INFINITY;
    for (size_t i = 0; i < input->count; i++) {
        double division = input->ranges[i].volts_per_division;
        for (int shift = -SHIFTS; shift <= SHIFTS; shift++) {
            struct setup setup = { i, COUPLING_DC, 0, 0 };
            if (input->ranges[i].offset_span > 0)
                setup.offset = value + 4.0 * shift / SHIFTS * division;
            else
                setup.position = (double)shift / SHIFTS * input->position_divisions * division;
            if (fabs(setup.offset) > input->ranges[i].offset_span || !shows(input, &setup, value))
                continue;
            double standard = chain_uncertainty(&table->chain, &setup, &signal);
            if (standard < best * (1 - 1e-9)) {
                best = standard;
                *range = i;
            }
        }
    }
    return best;
}

/* Whether the finest setting that shows a value on a scope shows it near its edge. */
static bool near_the_end(const struct bench_table *table, double value)
{
    if (!table->input.vertical)
        return false;
    for (size_t i = 0; i < table->input.count; i++) {
        double division = table->input.ranges[i].volts_per_division;
        double end = table->input.position_divisions > 0 ? 2 * table->input.ranges[i].high
                                                         : table->input.ranges[i].high;
        double zone = 0.1 * division;
        if (value <= end + zone && value > end - zone)
            return true;
    }
    return false;
}

struct tally {
    double mean;
    size_t worst;
    size_t differ;        /* settled on another range than brute force */
    size_t differ_steady; /* ... though the signal is not near the end of a range */
};

/* `tie` is how much larger an uncertainty may be and still count as the best. */
static struct tally sweep(const struct bench_table *table, double top, size_t signals, double tie)
{
    struct tally tally = { 0 };
    unsigned short state[3] = { SEED & 0xffff, 1, 2 };
    size_t total = 0;
    for (size_t i = 0; i < signals; i++) {
        double value = 1e-3 * pow(top / 1e-3, erand48(state));
        struct player player = steady(value);
        struct plan plan;
        struct failure failure;
        assert_int_equal(run_cold(&plan, table, &player, &failure), PLAN_SETTLED);
        total += plan.step_count;
        tally.worst = plan.step_count > tally.worst ? plan.step_count : tally.worst;
        size_t range = 0;
        double best = brute_force(table, value, &range);
        struct signal signal = signal_level(value);
        double standard = chain_uncertainty(&table->chain, settled(&plan), &signal);
        assert_true(shows(&table->input, settled(&plan), value));
        if (settled(&plan)->range != range && standard > best * (1 + tie)) {
            tally.differ++;
            tally.differ_steady += !near_the_end(table, value);
        }
    }
    tally.mean = (double)total / (double)signals;
    print_message("seed %d: %zu signals, %.3f acquisitions on average, %zu at most, "
                  "%zu not the brute-force range (%zu away from the end of a range)\n",
                  SEED, signals, tally.mean, tally.worst, tally.differ, tally.differ_steady);
    return tally;
}

static void test_over_range_has_no_value(void **state)
{
    (void)state;
    struct bench_table table;
    struct plan plan;
    struct failure failure;
    struct player player = steady(1200);
    meter_table(&table);
    assert_int_equal(run_cold(&plan, &table, &player, &failure), PLAN_FAILED);
    assert_int_equal(failure.code, FAILURE_OVER_RANGE);
    assert_int_equal(plan.step_count, 1);
    assert_true(isnan(plan.steps[0].value));
    player = steady(95);
    scope_table(&table);
    assert_int_equal(run_cold(&plan, &table, &player, &failure), PLAN_FAILED);
    assert_int_equal(failure.code, FAILURE_OVER_RANGE);
    struct player wide = { -60, 60, 0, NULL, { 0 } };
    assert_int_equal(run_cold(&plan, &table, &wide, &failure), PLAN_FAILED);
    assert_int_equal(failure.code, FAILURE_OVER_RANGE);
}

/* Above mid screen of the top setting the trace is moved down before giving up. */
static void test_top_range_is_explored(void **state)
{
    (void)state;
    struct bench_table table;
    struct plan plan;
    struct failure failure;
    scope_table(&table);
    struct player player = steady(60);
    assert_int_equal(run_cold(&plan, &table, &player, &failure), PLAN_SETTLED);
    assert_true(shows(&table.input, settled(&plan), 60));
    player = steady(-60);
    assert_int_equal(run_cold(&plan, &table, &player, &failure), PLAN_SETTLED);
    assert_true(shows(&table.input, settled(&plan), -60));
    offset_scope_table(&table);
    player = steady(110);
    assert_int_equal(run_cold(&plan, &table, &player, &failure), PLAN_SETTLED);
    assert_true(shows(&table.input, settled(&plan), 110));
}

static double flips(const struct player *player, size_t k)
{
    (void)player;
    return k % 2 ? 0 : 100;
}

static void test_unstable_signal_is_reported(void **state)
{
    (void)state;
    struct bench_table table;
    struct plan plan;
    struct failure failure;
    struct player player = { 0.01, 0.01, 0, flips, { 0 } };
    meter_table(&table);
    enum plan_action action = run_cold(&plan, &table, &player, &failure);
    assert_true(plan.step_count <= PLAN_MAX_STEPS);
    assert_int_equal(action, PLAN_FAILED);
    assert_int_equal(failure.code, FAILURE_UNSTABLE);
}

static double steps_up_once(const struct player *player, size_t k)
{
    (void)player;
    return k >= 3 ? 4.0 : 0;
}

static void test_moving_signal_is_followed(void **state)
{
    (void)state;
    struct bench_table table;
    struct plan plan;
    struct failure failure;
    struct player player = { 0.05, 0.05, 0, steps_up_once, { 0 } };
    scope_table(&table);
    assert_int_equal(run_cold(&plan, &table, &player, &failure), PLAN_SETTLED);
    assert_true(shows(&table.input, settled(&plan), 4.05));
    assert_true(plan.step_count < PLAN_MAX_STEPS);
}

static void test_noise_near_a_boundary_settles(void **state)
{
    (void)state;
    static const double centres[] = { 0.199, 0.2, 0.201, 1.99, 2.0, 2.01 };
    size_t worst = 0;
    for (size_t i = 0; i < sizeof centres / sizeof centres[0]; i++)
        for (unsigned short seed = 0; seed < 500; seed++) {
            struct bench_table table;
            struct plan plan;
            struct failure failure;
            struct player player = {
                centres[i], centres[i], 0.01 * centres[i], NULL, { seed, 7, 9 }
            };
            seed % 2 ? meter_table(&table) : scope_table(&table);
            assert_int_equal(run_cold(&plan, &table, &player, &failure), PLAN_SETTLED);
            worst = plan.step_count > worst ? plan.step_count : worst;
        }
    print_message("at most %zu acquisitions with 1 %% noise at a boundary\n", worst);
    assert_true(worst <= 7);
}

static void test_expectation_that_is_right_takes_one(void **state)
{
    (void)state;
    struct bench_table table;
    for (int kind = 0; kind < 3; kind++)
        for (double value = 0.0021; value < 30; value *= 1.37) {
            if (kind == 0)
                meter_table(&table);
            else if (kind == 1)
                scope_table(&table);
            else
                offset_scope_table(&table);
            if (near_the_end(&table, value))
                continue;
            struct signal expected = signal_level(value);
            struct plan plan;
            struct failure failure = { 0 };
            struct player player = steady(value);
            plan_start(&plan, &table.chain, &expected);
            assert_int_equal(finish(&plan, &player, &failure), PLAN_SETTLED);
            assert_int_equal(plan.step_count, 1);
        }
}

static void test_expectation_that_is_wrong_still_settles(void **state)
{
    (void)state;
    struct bench_table table;
    scope_table(&table);
    struct signal expected = signal_level(0.05);
    struct plan plan;
    struct failure failure = { 0 };
    struct player player = steady(12);
    plan_start(&plan, &table.chain, &expected);
    assert_int_equal(finish(&plan, &player, &failure), PLAN_SETTLED);
    assert_int_equal(plan.steps[0].outcome, STEP_OVERLOAD);
    assert_true(shows(&table.input, settled(&plan), 12));
}

/* 20 mV of ripple on 48 V: two bits of the setting that shows the rail. */
static void test_ripple_on_a_rail_is_resolved(void **state)
{
    (void)state;
    struct bench_table table;
    struct player player = { 47.99, 48.01, 0, NULL, { 0 } };
    for (int by_offset = 0; by_offset < 2; by_offset++) {
        struct plan plan;
        struct failure failure;
        offset_scope_table(&table);
        table.chain.aspect = ASPECT_PEAK_TO_PEAK;
        table.chain.lowest_frequency = 50;
        table.input.ac_coupling = !by_offset;
        assert_int_equal(run_cold(&plan, &table, &player, &failure), PLAN_SETTLED);
        const struct setup *setup = settled(&plan);
        assert_int_equal(setup->coupling, by_offset ? COUPLING_DC : COUPLING_AC);
        double codes = 0.02 / table.ranges[setup->range].resolution;
        print_message("%s: %g V/div, ripple over %.0f codes, %zu acquisitions\n",
                      by_offset ? "offset" : "ac coupling",
                      table.ranges[setup->range].volts_per_division, codes, plan.step_count);
        /* At 80 V of offset span the finest range is 0.5 V/div; below, the offset ends. */
        assert_true(by_offset ? codes >= 0.6 : codes >= 100);
    }
}

/* 5 V of ripple-bearing rail is within the offset of a finer range. */
static void test_ripple_within_the_offset(void **state)
{
    (void)state;
    struct bench_table table;
    struct plan plan;
    struct failure failure;
    struct player player = { 4.99, 5.01, 0, NULL, { 0 } };
    offset_scope_table(&table);
    table.chain.aspect = ASPECT_PEAK_TO_PEAK;
    table.input.ac_coupling = false;
    assert_int_equal(run_cold(&plan, &table, &player, &failure), PLAN_SETTLED);
    assert_true(0.02 / table.ranges[settled(&plan)->range].resolution >= 6);
}

static void test_meter_sweep(void **state)
{
    (void)state;
    struct bench_table table;
    meter_table(&table);
    struct tally tally = sweep(&table, 1000, SIGNALS, PLAN_WORTH);
    assert_true(tally.worst <= 4);
    assert_true(tally.mean <= 1.9);
    assert_int_equal(tally.differ, 0);
}

static void test_scope_sweep(void **state)
{
    (void)state;
    struct bench_table table;
    scope_table(&table);
    struct tally tally = sweep(&table, 79, SIGNALS, PLAN_WORTH);
    assert_true(tally.worst <= 5);
    assert_true(tally.mean <= 2.7);
    assert_int_equal(tally.differ_steady, 0);
}

static void test_centred_scope_sweep(void **state)
{
    (void)state;
    struct bench_table table;
    scope_table(&table);
    table.input.position_divisions = 0;
    struct tally tally = sweep(&table, 39.8, SIGNALS, PLAN_WORTH);
    assert_true(tally.worst <= 5);
    assert_true(tally.mean <= 2.7);
    assert_int_equal(tally.differ, 0);
}

static void test_offset_scope_sweep(void **state)
{
    (void)state;
    struct bench_table table;
    offset_scope_table(&table);
    struct tally tally = sweep(&table, 39.8, SIGNALS / 10, 0.02);
    assert_true(tally.worst <= 5);
    assert_int_equal(tally.differ_steady, 0);
}

/*
 * The finest 1-2-5 setting on which the level still stands on eight
 * divisions; common practice, no source. Levels that fill the screen to the
 * last code are left out: the last code counts as clipped.
 */
static void test_finest_setting(void **state)
{
    (void)state;
    static const struct {
        double tip, factor, volts_per_division, divisions;
    } rows[] = {
        { 15, 1, 2, 7.5 },        { 15, 10, 0.2, 7.5 },
        { 9, 10, 0.2, 4.5 },      { 12.5, 10, 0.2, 6.25 },
        { 0.9, 1, 0.2, 4.5 },     { 1.25, 1, 0.2, 6.25 },
        { 5, 1, 1, 5 },           { 16.01, 1, 5, 3.202 },
        { 100, 10, 2, 5 },        { 325.26912, 100, 0.5, 6.50538 },
        { 0.004, 1, 0.001, 4 },   { 0.0081, 1, 0.002, 4.05 },
        { 400.1, 10, 10, 4.001 },
    };
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        struct bench_table table;
        struct plan plan;
        struct failure failure;
        scope_table(&table);
        table.probe.factor = rows[i].factor;
        struct player player = steady(rows[i].tip / rows[i].factor);
        assert_int_equal(run_cold(&plan, &table, &player, &failure), PLAN_SETTLED);
        double division = settled_volts_per_division(&plan);
        assert_within(division, rows[i].volts_per_division, 1e-9);
        assert_within(plan.signal.value / division, rows[i].divisions, 8.0 / 256);
        double tip = chain_value(&table.chain, settled(&plan), plan.signal.value);
        assert_within(tip, rows[i].tip, rows[i].factor * division * 8 / 256);
    }
}

/* 12.5 V through 10x at 0.5 V/div shows 2.5 divisions; common practice, no source. */
static void test_divisions_at_the_tip(void **state)
{
    (void)state;
    struct bench_table table;
    scope_table(&table);
    table.probe.factor = 10;
    struct setup setup = { 8, COUPLING_DC, 0, 0 };
    assert_within(table.ranges[setup.range].volts_per_division, 0.5, 1e-12);
    double input = chain_input(&table.chain, &setup, 12.5);
    assert_within(input / table.ranges[setup.range].volts_per_division, 2.5, 1e-12);
    assert_within(chain_value(&table.chain, &setup, input), 12.5, 1e-12);
}

/* Noise on a resumed setup, a thousand times over: one acquisition each. */
static void test_resuming_takes_one(void **state)
{
    (void)state;
    struct bench_table table;
    struct plan plan;
    struct failure failure = { 0 };
    struct player player = { 5.0, 5.0, 0.001, NULL, { 4, 5, 6 } };
    offset_scope_table(&table);
    assert_int_equal(run_cold(&plan, &table, &player, &failure), PLAN_SETTLED);
    struct setup setup = *settled(&plan);
    for (int i = 0; i < 1000; i++) {
        plan_resume(&plan, &table.chain, &setup, 0);
        assert_int_equal(finish(&plan, &player, &failure), PLAN_SETTLED);
        assert_int_equal(plan.step_count, 1);
        setup = *settled(&plan);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_over_range_has_no_value),
        cmocka_unit_test(test_top_range_is_explored),
        cmocka_unit_test(test_unstable_signal_is_reported),
        cmocka_unit_test(test_moving_signal_is_followed),
        cmocka_unit_test(test_noise_near_a_boundary_settles),
        cmocka_unit_test(test_expectation_that_is_right_takes_one),
        cmocka_unit_test(test_expectation_that_is_wrong_still_settles),
        cmocka_unit_test(test_ripple_on_a_rail_is_resolved),
        cmocka_unit_test(test_ripple_within_the_offset),
        cmocka_unit_test(test_finest_setting),
        cmocka_unit_test(test_divisions_at_the_tip),
        cmocka_unit_test(test_resuming_takes_one),
        cmocka_unit_test(test_meter_sweep),
        cmocka_unit_test(test_scope_sweep),
        cmocka_unit_test(test_centred_scope_sweep),
        cmocka_unit_test(test_offset_scope_sweep),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
