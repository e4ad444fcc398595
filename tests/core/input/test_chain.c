/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "core/input/chain.h"
#include "core/uncertainty/expand.h"
#include "tests/core/bench_tables.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <string.h>

#include <cmocka.h>

#include "tests/near.h"

static struct signal dc(double value)
{
    struct signal signal = signal_level(value);
    return signal;
}

static const struct contribution *find(const struct budget *budget, const char *source)
{
    for (size_t i = 0; i < budget->count; i++)
        if (strcmp(budget->terms[i].source, source) == 0)
            return &budget->terms[i];
    return NULL;
}

static double share(const struct budget *budget, const char *source)
{
    const struct contribution *term = find(budget, source);
    return term ? fabs(term->standard * term->sensitivity) : 0;
}

static void test_window_follows_offset_and_position(void **state)
{
    (void)state;
    struct bench_table table;
    scope_table(&table);
    struct setup setup = { 9, COUPLING_DC, 2.5, 0 }; /* 1 V/div */
    double low, high;
    setup_window(&table.input, &setup, &low, &high);
    assert_within(low, -1.5, 1e-12);
    assert_within(high, 6.5, 1e-12);
    setup.offset = 0;
    setup.position = -3.5; /* the zero trace moved down: more room above */
    setup_window(&table.input, &setup, &low, &high);
    assert_within(low, -0.5, 1e-12);
    assert_within(high, 7.5, 1e-12);
}

/* The planner's fast sum and the named budget are the same thing. */
static void test_uncertainty_is_the_budget(void **state)
{
    (void)state;
    struct bench_table table;
    offset_scope_table(&table);
    table.chain.source = (struct source) { .resistance = 1000, .tolerance = 0.1 };
    table.chain.correct_loading = true;
    table.probe.tolerance = 0.01;
    table.chain.lowest_frequency = 50;
    for (int aspect = ASPECT_DC; aspect <= ASPECT_MINIMUM; aspect++)
        for (int coupling = COUPLING_DC; coupling <= COUPLING_AC; coupling++) {
            table.chain.aspect = (enum aspect)aspect;
            struct setup setup = { 8, (enum coupling)coupling, 0.5, 0 };
            struct signal signal = { .value = 0.7,
                                     .mean = 0.6,
                                     .low = -0.2,
                                     .high = 1.1,
                                     .noise = 0.01,
                                     .doubt = 0.002,
                                     .samples = 500,
                                     .frequency = 120 };
            struct budget budget;
            chain_budget(&table.chain, &setup, &signal, &budget);
            assert_true(budget.count > 3);
            double direct = chain_uncertainty(&table.chain, &setup, &signal);
            assert_within(budget_combined(&budget) / direct, 1, 1e-12);
        }
}

/* 5 V on the 20 V range: limit, resolution and nothing else. */
static void test_meter_budget(void **state)
{
    (void)state;
    struct bench_table table;
    meter_table(&table);
    struct setup setup = { 2, COUPLING_DC, 0, 0 };
    struct signal signal = dc(5);
    struct budget budget;
    chain_budget(&table.chain, &setup, &signal, &budget);
    assert_int_equal(budget.count, 2);
    double limit = 80e-6 * 5 + 10e-6 * 20;
    assert_within(share(&budget, "instrument accuracy"), limit / sqrt(3), 1e-12);
    assert_within(share(&budget, "resolution"), 0.5e-4 / sqrt(3), 1e-12);
}

/*
 * Loading and its correction at the tip: Rs 10 k into 1 M reads 0.990099 = 1 M
 * / 1.01 M (own derivation).
 */
static void test_loading_is_corrected(void **state)
{
    (void)state;
    struct bench_table table;
    scope_table(&table);
    table.chain.source = (struct source) { .resistance = 10e3, .tolerance = 0.1 };
    struct setup setup = { 9, COUPLING_DC, 0, 0 };
    assert_within(chain_value(&table.chain, &setup, 0.9900990099009901), 0.9900990099009901, 1e-15);
    table.chain.correct_loading = true;
    assert_within(chain_value(&table.chain, &setup, 0.9900990099009901), 1, 1e-12);
    assert_within(chain_input(&table.chain, &setup, 1), 0.9900990099009901, 1e-12);
    struct signal signal = dc(0.9900990099009901);
    struct budget budget;
    chain_budget(&table.chain, &setup, &signal, &budget);
    /* JCGM 100 5.1.2: (Rs/Rin) sqrt(uRs^2 + uRin^2) / (1 + Rs/Rin), bounds rectangular. */
    double expected = 0.01 / sqrt(3) / 1.01;
    assert_within(share(&budget, "loading, source resistance"), 0.1 * expected, 1e-9);
    assert_within(share(&budget, "loading, input resistance"), 0.01 * expected, 1e-9);
}

/* The probe's tip loads the point, not the input behind it. */
static void test_probe_is_the_load(void **state)
{
    (void)state;
    struct bench_table table;
    scope_table(&table);
    table.probe.factor = 10;
    table.probe.tip_resistance = 10e6;
    struct setup setup = { 9, COUPLING_DC, 0, 0 };
    assert_within(chain_load(&table.chain, &setup).resistance, 10e6, 1e-6);
    table.probe.dimension = DIMENSION_CURRENT; /* a shunt does not load a voltage source */
    assert_true(isnan(chain_load(&table.chain, &setup).resistance));
}

/*
 * 9 megohm in front of 1 megohm within 1 %: (9 + 1.01) / 1.01 is 9.9109, off by
 * 0.9 % to first order. Own derivation, from the divider.
 */
static void test_input_behind_a_divider(void **state)
{
    (void)state;
    struct bench_table table;
    scope_table(&table);
    table.probe.factor = 10;
    table.probe.load_resistance = 1e6;
    struct setup setup = { 9, COUPLING_DC, 0, 0 };
    struct signal signal = dc(0.5);
    struct budget budget;
    chain_budget(&table.chain, &setup, &signal, &budget);
    assert_within(share(&budget, "input behind the probe"), 5 * 0.009 / sqrt(3), 1e-12);
    assert_within(10 - (9 + 1.01) / 1.01, 10 * 0.009, 1e-3);
    table.probe.load_resistance = NAN;
    chain_budget(&table.chain, &setup, &signal, &budget);
    assert_null(find(&budget, "input behind the probe"));
}

/* A shunt of 0.1 V/A with 0.5 %: 0.25 V is 2.5 A. */
static void test_shunt(void **state)
{
    (void)state;
    struct bench_table table;
    meter_table(&table);
    table.probe.dimension = DIMENSION_CURRENT;
    table.probe.factor = 10;
    table.probe.tolerance = 0.005;
    struct setup setup = { 1, COUPLING_DC, 0, 0 };
    struct signal signal = dc(0.25);
    struct budget budget;
    assert_within(chain_value(&table.chain, &setup, 0.25), 2.5, 1e-12);
    chain_budget(&table.chain, &setup, &signal, &budget);
    assert_within(share(&budget, "probe factor"), 2.5 * 0.005 / sqrt(3), 1e-12);
}

/* A transducer's offset belongs to its mean and to nothing that ignores the mean. */
static void test_transducer_offset(void **state)
{
    (void)state;
    struct bench_table table;
    scope_table(&table);
    table.probe.dimension = DIMENSION_SIGNAL;
    table.probe.factor = 100;
    table.probe.offset = -50;
    table.probe.offset_tolerance = 0.3;
    struct setup setup = { 9, COUPLING_DC, 0, 0 };
    struct signal signal = dc(0.75);
    struct budget budget;
    assert_within(chain_value(&table.chain, &setup, 0.75), 25, 1e-12);
    chain_budget(&table.chain, &setup, &signal, &budget);
    assert_within(share(&budget, "probe offset"), 0.3 / sqrt(3), 1e-12);
    table.chain.aspect = ASPECT_PEAK_TO_PEAK;
    assert_within(chain_value(&table.chain, &setup, 0.75), 75, 1e-12);
    chain_budget(&table.chain, &setup, &signal, &budget);
    assert_null(find(&budget, "probe offset"));
}

/* A probe that inverts changes the sign of a level, and of nothing that has none. */
static void test_inverting_probe(void **state)
{
    (void)state;
    struct bench_table table;
    scope_table(&table);
    table.probe.factor = -10;
    struct setup setup = { 9, COUPLING_DC, 0, 0 };
    assert_within(chain_value(&table.chain, &setup, 0.5), -5, 1e-12);
    assert_within(chain_input(&table.chain, &setup, -5), 0.5, 1e-12);
    static const enum aspect unsigned_aspects[] = { ASPECT_AC, ASPECT_RMS, ASPECT_PEAK_TO_PEAK };
    for (size_t i = 0; i < 3; i++) {
        table.chain.aspect = unsigned_aspects[i];
        assert_within(chain_value(&table.chain, &setup, 0.5), 5, 1e-12);
        assert_within(chain_input(&table.chain, &setup, 5), 0.5, 1e-12);
    }
}

/*
 * At its corner ac coupling leaves 1 / sqrt 2 of a sine, at a tenth of it 1 / sqrt 101 (own derivation):
 * the interval reaches from what is seen to what was there. Where nothing is known there is no value.
 */
static void test_ac_coupling_loss(void **state)
{
    (void)state;
    struct bench_table table;
    offset_scope_table(&table);
    table.chain.aspect = ASPECT_AC;
    struct setup setup = { 6, COUPLING_AC, 0, 0 };
    struct signal signal = {
        .value = 0.1, .low = -0.14, .high = 0.14, .samples = 500, .frequency = 5
    };
    struct budget budget;
    chain_budget(&table.chain, &setup, &signal, &budget);
    assert_within(share(&budget, "ac coupling"), 0.1 * (M_SQRT2 - 1) / sqrt(3), 1e-9);
    signal.frequency = 0.5;
    chain_budget(&table.chain, &setup, &signal, &budget);
    assert_within(share(&budget, "ac coupling"), 0.1 * (sqrt(101) - 1) / sqrt(3), 1e-9);
    assert_true(signal.value + budget_expand(&budget).uncertainty >= 0.1 * sqrt(101));
    signal.frequency = NAN;
    chain_budget(&table.chain, &setup, &signal, &budget);
    assert_true(!isfinite(budget_expand(&budget).uncertainty));
    table.chain.lowest_frequency = 500;
    chain_budget(&table.chain, &setup, &signal, &budget);
    assert_true(share(&budget, "ac coupling") < 0.1 * 1e-4);
}

/* What is slower than the corner may hide in the noise behind it, and is as much larger before. */
static void test_ac_coupling_hides(void **state)
{
    (void)state;
    struct bench_table table;
    offset_scope_table(&table);
    table.chain.aspect = ASPECT_PEAK_TO_PEAK;
    table.chain.lowest_frequency = 0.5;
    struct setup setup = { 6, COUPLING_AC, 0, 0 };
    struct signal signal = { .value = 0, .doubt = 1e-3, .samples = 500, .frequency = NAN };
    struct budget budget;
    chain_budget(&table.chain, &setup, &signal, &budget);
    assert_true(budget_expand(&budget).uncertainty >= 1e-3 * sqrt(101));
}

/* Where the record has told what was before the coupling, the interval reaches to that. */
static void test_ac_coupling_told_back(void **state)
{
    (void)state;
    static const double before[] = { 0.5, 0.98, 1.02, 10 };
    struct bench_table table;
    offset_scope_table(&table);
    table.chain.aspect = ASPECT_PEAK_TO_PEAK;
    struct setup setup = { 6, COUPLING_AC, 0, 0 };
    struct budget budget;
    for (size_t i = 0; i < sizeof before / sizeof *before; i++) {
        struct signal signal = {
            .value = 0.1, .samples = 500, .frequency = 50, .uncoupled = before[i]
        };
        chain_budget(&table.chain, &setup, &signal, &budget);
        double bound = 0.3 * fabs(1 - 1 / before[i]);
        assert_within(share(&budget, "ac coupling"), 0.1 * bound / sqrt(3), 1e-9);
        assert_true(share(&budget, "tilt by ac coupling") == 0);
    }
}

/*
 * Peak-to-peak value behind a first-order high-pass of a pulse from 0 to 1, in its steady state: up
 * by one, a decay for the time that it is up, down by one, a decay for the rest.
 */
static double tilted(double duty, double time_constants)
{
    double up = exp(-duty * time_constants), down = exp(-(1 - duty) * time_constants);
    double top = (1 - down) / (1 - up * down);
    return top - (top * up - 1);
}

/* The value is enlarged by no more than the budget has for it; by a square of all that it has. */
static void test_ac_coupling_tilt(void **state)
{
    (void)state;
    static const double duties[] = { 0.01, 0.2, 0.5, 0.9 }, frequencies[] = { 2, 50, 1000 };
    struct bench_table table;
    offset_scope_table(&table);
    table.chain.aspect = ASPECT_PEAK_TO_PEAK;
    struct setup setup = { 9, COUPLING_AC, 0, 0 };
    struct budget budget;
    for (size_t i = 0; i < sizeof duties / sizeof *duties; i++)
        for (size_t j = 0; j < sizeof frequencies / sizeof *frequencies; j++) {
            double constants = 2 * M_PI * table.input.ac_corner / frequencies[j];
            double seen = tilted(duties[i], constants);
            struct signal signal = { .value = seen, .samples = 500, .frequency = frequencies[j] };
            chain_budget(&table.chain, &setup, &signal, &budget);
            double bound = sqrt(3) * share(&budget, "tilt by ac coupling");
            assert_true(bound >= seen - 1 - 1e-12);
            if (duties[i] == 0.5)
                assert_within(bound, seen - 1, 1e-12);
            table.chain.shape.kind = WAVESHAPE_SINE;
            chain_budget(&table.chain, &setup, &signal, &budget);
            assert_true(share(&budget, "tilt by ac coupling") == 0);
            table.chain.shape.kind = WAVESHAPE_UNKNOWN;
        }
}

/*
 * 10 kohm into 1 Mohm and 20 pF at 1 MHz passes 0.620265 of the voltage where
 * dc passes 0.990099: the difference is in the budget. Own derivation: |Z / (Z
 * + Rs)|, Z = R / (1 + j 2 pi f R C).
 */
static void test_capacitive_loading_is_not_forgotten(void **state)
{
    (void)state;
    struct bench_table table;
    scope_table(&table);
    table.chain.aspect = ASPECT_AC;
    table.chain.shape.kind = WAVESHAPE_SINE;
    table.chain.source = (struct source) { .resistance = 10e3, .tolerance = 0 };
    struct setup setup = { 9, COUPLING_DC, 0, 0 };
    struct signal signal = {
        .value = 1, .low = -1.4, .high = 1.4, .samples = 500, .frequency = 1e6
    };
    struct budget budget;
    chain_budget(&table.chain, &setup, &signal, &budget);
    double lost = 1 - 0.620264726836 / 0.990099009901;
    assert_within(share(&budget, "capacitive loading"), lost / sqrt(3), 1e-9);
}

static void test_ground_reference_replaces_the_baseline(void **state)
{
    (void)state;
    struct bench_table table;
    scope_table(&table);
    table.input.baseline_divisions = 0.2;
    struct setup setup = { 9, COUPLING_DC, 0, 0 };
    struct signal signal = dc(1);
    struct budget budget;
    chain_budget(&table.chain, &setup, &signal, &budget);
    assert_null(find(&budget, "baseline"));
    assert_non_null(find(&budget, "ground reference"));
    table.input.ground_reference = false;
    chain_budget(&table.chain, &setup, &signal, &budget);
    assert_within(share(&budget, "baseline"), 0.2 / sqrt(3), 1e-12);
}

/* An error of the level moves an RMS by mean / RMS of it. */
static void test_level_error_in_an_rms(void **state)
{
    (void)state;
    struct bench_table table;
    scope_table(&table);
    table.input.baseline_divisions = 0.2;
    table.input.ground_reference = false;
    table.chain.aspect = ASPECT_RMS;
    struct setup setup = { 9, COUPLING_DC, 0, 0 };
    struct signal signal = {
        .value = 5, .mean = 3, .low = -2, .high = 8, .samples = 500, .frequency = 1000
    };
    struct budget budget;
    chain_budget(&table.chain, &setup, &signal, &budget);
    assert_within(share(&budget, "baseline"), 0.2 * 3 / 5 / sqrt(3), 1e-12);
}

/* What a record leaves open is in the budget, and a step that is averaged counts for less. */
static void test_what_the_record_leaves_open(void **state)
{
    (void)state;
    struct bench_table table;
    scope_table(&table);
    table.chain.aspect = ASPECT_MINIMUM;
    struct setup setup = { 9, COUPLING_DC, 0, 0 };
    struct signal signal = signal_level(-1);
    signal.scatter = 0.001;
    signal.doubt = 0.02;
    signal.edges = 0.003;
    signal.averaged = 25;
    struct budget budget;
    chain_budget(&table.chain, &setup, &signal, &budget);
    assert_within(share(&budget, "noise"), 0.001, 1e-12);
    assert_within(share(&budget, "noise and samples, not corrected"), 0.02 / sqrt(3), 1e-12);
    assert_int_equal(find(&budget, "noise and samples, not corrected")->shape, SHAPE_BIAS);
    assert_within(share(&budget, "edges between samples"), 0.003 / sqrt(6), 1e-12);
    assert_within(share(&budget, "resolution"), 8.0 / 256 / sqrt(12) / 5, 1e-12);
}

static void test_error_limit_adds_linearly(void **state)
{
    (void)state;
    struct bench_table table;
    offset_scope_table(&table);
    table.input.baseline_divisions = 0.1;
    struct setup setup = { 9, COUPLING_DC, 2, 0 };
    struct signal signal = {
        .value = 3, .mean = 3, .low = 3, .high = 3, .noise = 0.01, .samples = 1, .frequency = NAN
    };
    double expected = 0.03 * 1 + 8.0 / 256 / 2 + 0.01 * 2 + 0.1 + 0.03;
    assert_within(chain_error_limit(&table.chain, &setup, &signal, 3), expected, 1e-12);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_window_follows_offset_and_position),
        cmocka_unit_test(test_uncertainty_is_the_budget),
        cmocka_unit_test(test_meter_budget),
        cmocka_unit_test(test_loading_is_corrected),
        cmocka_unit_test(test_probe_is_the_load),
        cmocka_unit_test(test_input_behind_a_divider),
        cmocka_unit_test(test_shunt),
        cmocka_unit_test(test_transducer_offset),
        cmocka_unit_test(test_inverting_probe),
        cmocka_unit_test(test_ac_coupling_loss),
        cmocka_unit_test(test_ac_coupling_hides),
        cmocka_unit_test(test_ac_coupling_told_back),
        cmocka_unit_test(test_ac_coupling_tilt),
        cmocka_unit_test(test_capacitive_loading_is_not_forgotten),
        cmocka_unit_test(test_ground_reference_replaces_the_baseline),
        cmocka_unit_test(test_level_error_in_an_rms),
        cmocka_unit_test(test_what_the_record_leaves_open),
        cmocka_unit_test(test_error_limit_adds_linearly),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
