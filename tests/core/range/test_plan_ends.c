/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Meters near the ends of their ranges: many tables of ranges, each meter with
 * errors drawn within its specification, and signals about the end of a range.
 * The range that holds what the meter shows there with the smallest uncertainty
 * is found by trying them all; that it is the one to use is common practice,
 * no source.
 */
#include "core/range/plan.h"
#include "tests/core/bench_tables.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>

#include <cmocka.h>

#include "tests/near.h"

enum { TABLES = 1500, SIGNALS = 20, MEASUREMENTS = 4 };

/* A meter as it is: its table, and its errors as shares of the specification. */
struct meter {
    struct bench_table table;
    double gain[CHAIN_MAX_RANGES];
    double offset[CHAIN_MAX_RANGES];
    unsigned short state[3];
};

static double even(struct meter *meter, double low, double high)
{
    return low + (high - low) * erand48(meter->state);
}

static double spread(struct meter *meter, double low, double high)
{
    return low * pow(high / low, erand48(meter->state));
}

/* Ranges 2 to 100 times apart, from 0.002 to 2 % of reading and to 1 % of range. */
static void make_meter(struct meter *meter)
{
    struct bench_table *table = &meter->table;
    meter_table(table);
    table->input.count = 3 + (size_t)even(meter, 0, 4);
    double full_scale = spread(meter, 1e-3, 1);
    double ratio = spread(meter, 2, 100);
    double reading = spread(meter, 2e-5, 2e-2);
    double range = spread(meter, 1e-5, 1e-2);
    for (size_t i = 0; i < table->input.count; i++, full_scale *= ratio) {
        table->ranges[i] = table->ranges[0];
        table->ranges[i].full_scale = full_scale;
        table->ranges[i].high = full_scale * even(meter, 1, 1.2);
        table->ranges[i].low = -table->ranges[i].high;
        table->ranges[i].resolution = full_scale / 20000;
        table->ranges[i].accuracy.reading = reading;
        table->ranges[i].accuracy.range = range;
        meter->gain[i] = even(meter, -1, 1);
        meter->offset[i] = even(meter, -1, 1);
    }
}

/* What the meter shows in a range, before it looks whether that is too much. */
static double shown(const struct meter *meter, size_t i, double value)
{
    const struct range *range = &meter->table.ranges[i];
    double error = meter->gain[i] * range->accuracy.reading * value +
                   meter->offset[i] * range->accuracy.range * range->full_scale;
    return round((value + error) / range->resolution) * range->resolution;
}

static bool holds(const struct meter *meter, size_t i, double value)
{
    return fabs(shown(meter, i, value)) <= meter->table.ranges[i].high;
}

static double standard_in(const struct meter *meter, size_t i, double value)
{
    struct setup setup = { i, COUPLING_DC, 0, 0 };
    struct signal signal = signal_level(value);
    return chain_uncertainty(&meter->table.chain, &setup, &signal);
}

static double best_of_all(const struct meter *meter, double value)
{
    double best = INFINITY;
    for (size_t i = 0; i < meter->table.input.count; i++)
        if (holds(meter, i, value))
            best = fmin(best, standard_in(meter, i, value));
    return best;
}

/* What one measurement leaves to the next. */
struct memory {
    bool known;
    struct setup setup;
    double beyond;
};

/* One measurement; returns the acquisitions it took. */
static size_t measure(const struct meter *meter, double value, struct memory *memory)
{
    struct plan plan;
    struct setup setup;
    if (memory->known)
        plan_resume(&plan, &meter->table.chain, &memory->setup, memory->beyond);
    else
        plan_start(&plan, &meter->table.chain, NULL);
    while (plan_next(&plan, &setup, NULL) == PLAN_ACQUIRE) {
        struct signal signal = signal_level(shown(meter, setup.range, value));
        if (holds(meter, setup.range, value))
            plan_reading(&plan, &signal);
        else
            plan_overload(&plan, SIDE_UNKNOWN);
    }
    assert_int_equal(plan.action, PLAN_SETTLED);
    *memory = (struct memory) { true, setup, plan.beyond };
    return plan.step_count;
}

static double near_an_end(struct meter *meter)
{
    size_t i = (size_t)even(meter, 0, (double)meter->table.input.count - 1);
    double far = spread(meter, 1e-4, 0.5) * (erand48(meter->state) < 0.5 ? -1 : 1);
    return meter->table.ranges[i].high * (1 + far) * (erand48(meter->state) < 0.5 ? -1 : 1);
}

static void test_the_range_is_the_best_that_holds_the_signal(void **state)
{
    (void)state;
    struct meter meter = { .state = { 20261130 & 0xffff, 7, 11 } };
    size_t total[MEASUREMENTS] = { 0 }, most[MEASUREMENTS] = { 0 };
    for (int t = 0; t < TABLES; t++) {
        make_meter(&meter);
        for (int s = 0; s < SIGNALS; s++) {
            double value = near_an_end(&meter);
            double best = best_of_all(&meter, value);
            struct memory memory = { 0 };
            for (int k = 0; k < MEASUREMENTS; k++) {
                size_t steps = measure(&meter, value, &memory);
                total[k] += steps;
                most[k] = steps > most[k] ? steps : most[k];
                assert_true(steps <= (k > 0 ? 3 : meter.table.input.count + 1));
                double standard = standard_in(&meter, memory.setup.range, value);
                assert_true(standard <= best * (1 + 2 * PLAN_WORTH));
            }
        }
    }
    for (int k = 0; k < MEASUREMENTS; k++)
        print_message("measurement %d: %.3f acquisitions, at most %zu\n", k + 1,
                      (double)total[k] / (TABLES * SIGNALS), most[k]);
    assert_int_equal(most[MEASUREMENTS - 1], 1);
}

/* A signal that falls into a range that it overloaded is read there again. */
static void test_a_signal_that_falls_is_followed_down(void **state)
{
    (void)state;
    struct meter meter = { .state = { 1, 2, 3 } };
    for (int t = 0; t < TABLES; t++) {
        make_meter(&meter);
        double end = meter.table.ranges[0].high;
        struct memory memory = { 0 };
        for (double value = 1.2 * end; value > 0.9 * end; value *= 0.995)
            measure(&meter, value, &memory);
        measure(&meter, 0.9 * end, &memory);
        double best = best_of_all(&meter, 0.9 * end);
        assert_true(standard_in(&meter, memory.setup.range, 0.9 * end) <=
                    best * (1 + 2 * PLAN_WORTH));
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_the_range_is_the_best_that_holds_the_signal),
        cmocka_unit_test(test_a_signal_that_falls_is_followed_down),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
