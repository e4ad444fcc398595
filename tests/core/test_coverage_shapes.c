/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * A table of how wide the intervals of scope readings are, by shape and aspect, beside how many
 * hold the truth, at 8 bits with 3 % of accuracy and at 12 bits with 0.5 % (common practice, no
 * source), and without any error of the instrument's gain, so that what is left is the record's.
 * Noise is up to 1 % of the amplitude; a record of 1000 samples holds 3 to 50 periods, and of
 * narrow pulses no more than leave three samples of each.
 *
 * The ideal interval has the same budget, but noise and rounding as averaged over the record by
 * least squares that know the shape and look for its level and its amplitude only (own derivation):
 *
 *     u^2 = (sigma^2 + q^2 / 12) / N                              mean, ac and RMS
 *     u^2 = (sigma^2 + q^2 / 12) / N (1 + (1 -+ m)^2 / v)         maximum and minimum
 *     u^2 = (sigma^2 + q^2 / 12) / N 4 / v                        peak to peak
 *
 * m, v  mean and variance of the shape, which reaches from -1 to 1
 *
 * An extreme of a shape that is not known cannot be had so surely. What lasts for one sample has one sample in
 * each of P periods, and nothing in the record says that the extreme lasts longer: whoever averages over more of
 * the crest assumes a shape. For extremes a second ratio is to an interval with
 *
 *     u^2 = (sigma^2 + q^2 / 12) / P, twice that for peak to peak,   or the one above where that is more
 *
 * which sines, that are recognised, and crests whose shape the record shows over many samples may undercut.
 *
 * Where a steep edge lies between two samples nothing can tell, so that beside the noise the averages
 * have the gap between the samples next to it, all periods taken together at the true frequency.
 */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>

#include <cmocka.h>

#include "core/uncertainty/budget.h"
#include "world.h"

enum { EACH = 200, SEED = 20261201, ASPECTS = 6 };

enum { EDGES = 2 };

static const struct {
    const char *name;
    const struct world_wave *wave;
    double most_periods;
    double widest; /* an interval of it may be, at 12 bits, in the ideal one */
    size_t edges;  /* steep ones, and where */
    double places[EDGES];
} shapes[] = {
    { "sine", &world_sine, 50, 1.2, 0, { 0 } },
    { "harmonics", &world_harmonics, 50, 2.0, 0, { 0 } },
    { "square", &world_square, 50, 2.5, 2, { 0, 0.5 } },
    { "pulse 1 %", &world_narrow, 4, 4.1, 2, { 0, 0.01 } },
    { "pulse 20 %", &world_pulse, 50, 2.5, 2, { 0, 0.2 } },
    { "pulse 99 %", &world_wide, 4, 4.8, 2, { 0, 0.99 } },
    { "slow pulse", &world_slow_pulse, 50, 2.4, 0, { 0 } },
    { "triangle", &world_triangle, 50, 1.8, 0, { 0 } },
    { "sawtooth", &world_sawtooth, 50, 2.6, 1, { 0 } },
    { "ringing", &world_ringing, 10, 4.4, 2, { 0, 0.5 } },
};

enum { SHAPES = sizeof shapes / sizeof *shapes };

static const struct {
    enum aspect aspect;
    const char *name;
} aspects[ASPECTS] = { { ASPECT_DC, "mean" },         { ASPECT_RMS, "rms" },
                       { ASPECT_AC, "ac" },           { ASPECT_MAXIMUM, "maximum" },
                       { ASPECT_MINIMUM, "minimum" }, { ASPECT_PEAK_TO_PEAK, "peak to peak" } };

/* What stands for an instrument. */
struct kind {
    double bits;
    double accuracy;
    double widest; /* an interval of any shape may be, in the ideal one; 0: as the shapes say */
};

/* One of the table's. */
struct cell {
    size_t taken, held, accepted;
    double ratio; /* sum of the intervals over the ideal ones */
    double fair;  /* of an extreme, over those of an unknown shape */
};

static void make_table(const struct kind *kind, struct bench_table *table)
{
    scope_table(table);
    for (size_t i = 0; i < table->input.count; i++) {
        table->ranges[i].resolution = table->ranges[i].full_scale / exp2(kind->bits);
        table->ranges[i].accuracy.reading = kind->accuracy;
    }
    table->input.baseline_divisions = 0.2;
}

/* The smallest range that holds the signal, with the trace moved into the middle. */
static struct setup fitting(const struct world *world, const struct bench_table *table)
{
    static const double filled = 0.9;
    double swing = 2 * world->amplitude + 10 * world->noise;
    struct setup setup = { .coupling = COUPLING_DC };
    while (table->ranges[setup.range].full_scale * filled < swing ||
           fabs(world->mean) > 4 * table->ranges[setup.range].volts_per_division)
        setup.range++;
    setup.position = -world->mean;
    return setup;
}

/* By how much the shape multiplies the variance of a mean, see above. */
static double variances(const struct world_wave *wave, enum aspect aspect)
{
    double variance = wave->square - wave->mean * wave->mean;
    double up = (1 - wave->mean) * (1 - wave->mean), down = (1 + wave->mean) * (1 + wave->mean);
    switch (aspect) {
    case ASPECT_MAXIMUM:
        return 1 + up / variance;
    case ASPECT_MINIMUM:
        return 1 + down / variance;
    case ASPECT_PEAK_TO_PEAK:
        return 4 / variance;
    default:
        return 1;
    }
}

/* From the last sample before a place in the period to the first behind it, in periods. */
static double gap_at(const struct world *world, double place)
{
    double before = 1, behind = 1;
    for (size_t i = 0; i < world->record; i++) {
        double turn = world->phase + world->frequency * (double)i - place;
        double part = turn - floor(turn);
        behind = fmin(behind, part);
        before = fmin(before, 1 - part);
    }
    return before + behind;
}

/*
 * The bound that edges leave for an average: half of a gap, by what they are high; as triangular,
 * which two of the same size make.
 */
static double ideal_edges(const struct world *world, size_t shape, enum aspect aspect)
{
    static const double beside = 1e-9;
    double value = world_value(world, aspect), sum = 0;
    for (size_t i = 0; i < shapes[shape].edges; i++) {
        double place = shapes[shape].places[i];
        double before = world->wave->at(place > 0 ? place - beside : 1 - beside);
        double after = world->wave->at(place + beside);
        double edge = world->amplitude * fabs(after - before) * gap_at(world, place) / 2;
        double middle = world->mean + world->amplitude * (before + after) / 2;
        if (aspect == ASPECT_AC)
            edge *= fabs(middle - world_value(world, ASPECT_DC)) / value;
        if (aspect == ASPECT_RMS)
            edge *= fabs(middle) / value;
        sum = hypot(sum, sqrt(2) * edge);
    }
    return sum;
}

static bool is_average(enum aspect aspect)
{
    return aspect == ASPECT_DC || aspect == ASPECT_AC || aspect == ASPECT_RMS;
}

/* By how much that is at least where the shape is not known, see above. */
static double unknown_shape(const struct world *world, enum aspect aspect)
{
    double samples_a_period = 1 / world->frequency;
    return aspect == ASPECT_PEAK_TO_PEAK ? 2 * samples_a_period : samples_a_period;
}

/* least  that the variance of a mean is multiplied by */
static double ideal_interval(const struct world *world, const struct bench_table *table,
                             const struct setup *setup, const struct signal *seen, size_t shape,
                             double least)
{
    struct signal signal = *seen;
    struct budget budget;
    double step = table->ranges[setup->range].resolution;
    double of_mean = hypot(world->noise, step / sqrt(12)) / sqrt((double)world->record);
    signal.scatter = of_mean * sqrt(fmax(least, variances(world->wave, table->chain.aspect)));
    signal.averaged = INFINITY;
    signal.doubt = 0;
    signal.edges =
        is_average(table->chain.aspect) ? ideal_edges(world, shape, table->chain.aspect) : 0;
    chain_budget(&table->chain, setup, &signal, &budget);
    return budget_expand(&budget).uncertainty;
}

static void count_one(struct world *world, struct bench_table *table, const struct setup *setup,
                      const double *samples, enum aspect aspect, size_t shape, struct cell *cell)
{
    struct signal signal;
    struct budget budget;
    table->chain.aspect = aspect;
    world_describe(samples, world->record, aspect, table->ranges[setup->range].resolution, &signal);
    world_subtract_ground(world, table, setup, &signal);
    chain_budget(&table->chain, setup, &signal, &budget);
    struct expanded expanded = budget_expand(&budget);
    double error = signal.value - world_value(world, aspect);
    cell->taken++;
    cell->held += fabs(error) <= expanded.uncertainty;
    cell->accepted += (cell->taken & 1 ? error : -error) > expanded.uncertainty;
    cell->ratio += expanded.uncertainty / ideal_interval(world, table, setup, &signal, shape, 0);
    cell->fair += expanded.uncertainty /
                  ideal_interval(world, table, setup, &signal, shape, unknown_shape(world, aspect));
}

static void count_record(struct world *world, const struct kind *kind, size_t shape,
                         struct cell cells[ASPECTS])
{
    double samples[WORLD_MOST];
    struct bench_table table;
    enum side side;
    make_table(kind, &table);
    world_instrument(world, &table);
    world->amplitude = 5e-3 * pow(2e3, erand48(world->state));
    world->mean = world->amplitude * world_even(world);
    world->noise = 0.01 * world->amplitude * erand48(world->state);
    world->frequency =
        3.1 * pow(shapes[shape].most_periods / 3.1, erand48(world->state)) / (double)world->record;
    struct setup setup = fitting(world, &table);
    assert_true(world_samples(world, &table, &setup, false, samples, &side));
    for (size_t i = 0; i < ASPECTS; i++)
        count_one(world, &table, &setup, samples, aspects[i].aspect, shape, &cells[i]);
}

/* In 100: of 200 records some more or fewer are so by chance, by three standard deviations at most. */
static const double fewest_held = 91.0, most_accepted = 5.7;

/* Whether it is within the bounds. */
static bool print_cell(const struct cell *cell, enum aspect aspect, double widest)
{
    double taken = (double)cell->taken;
    double held = 100 * (double)cell->held / taken;
    double accepted = 100 * (double)cell->accepted / taken;
    print_message("%7.1f%6.1f%6.2f", held, accepted, cell->ratio / taken);
    if (!is_average(aspect))
        print_message("%6.2f", cell->fair / taken);
    return held >= fewest_held && accepted <= most_accepted && cell->ratio / taken <= widest;
}

/* Prints a row for each shape; all of its cells are held to the bounds. */
static void count_table(const char *what, const struct kind *kind)
{
    bool good = true;
    print_message("seed %d, %s: of %d records each, %% that hold the truth, %% falsely accepted, "
                  "interval over the ideal one, and over that of an unknown shape\n%-12s",
                  SEED, what, EACH, "");
    for (size_t i = 0; i < ASPECTS; i++)
        print_message("%*s", is_average(aspects[i].aspect) ? 19 : 25, aspects[i].name);
    for (size_t shape = 0; shape < SHAPES; shape++) {
        struct cell cells[ASPECTS] = { { 0 } };
        struct world world = { .state = { SEED & 0xffff, 8, (unsigned short)shape },
                               .whole = true,
                               .record = WORLD_MOST,
                               .wave = shapes[shape].wave };
        for (size_t i = 0; i < EACH; i++)
            count_record(&world, kind, shape, cells);
        print_message("\n%-12s", shapes[shape].name);
        for (size_t i = 0; i < ASPECTS; i++)
            good &= print_cell(&cells[i], aspects[i].aspect,
                               kind->widest > 0 ? kind->widest : shapes[shape].widest);
    }
    print_message("\n");
    assert_true(good);
}

static void test_eight_bits(void **state)
{
    (void)state;
    count_table("8 bits, accuracy 3 %", &(struct kind) { 8, 0.03, 1.75 });
}

static void test_twelve_bits(void **state)
{
    (void)state;
    count_table("12 bits, accuracy 0.5 %", &(struct kind) { 12, 0.005, 0 });
}

static void test_the_record_alone(void **state)
{
    (void)state;
    count_table("8 bits, the record alone", &(struct kind) { 8, 0, 37 });
    count_table("12 bits, the record alone", &(struct kind) { 12, 0, 105 });
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_eight_bits),
        cmocka_unit_test(test_twelve_bits),
        cmocka_unit_test(test_the_record_alone),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
