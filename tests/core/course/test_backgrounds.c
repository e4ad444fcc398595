/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Dates on which limits will be met, on the backgrounds that real units have:
 * white noise, exponential settling of 0.5 %, a daily cycle, a step, a random walk,
 * 1/f noise, and two of them together. Without a drift no date may be stated; with one the interval must
 * hold the truth. Seeds are fixed and printed; the truth is the course's own arithmetic.
 */
#include "core/course/outlook.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <gsl/gsl_randist.h>
#include <gsl/gsl_rng.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { MOST = 400, BEFORE = 600, LENGTHS = 5, SEED = 20261130 };

static const double level = 5, sigma = 1e-3;

/* Runs, hours apart and in length. */
static const struct length {
    double apart, hours;
} lengths[LENGTHS] = { { 0.25, 24 }, { 0.5, 24 }, { 1, 48 }, { 1, 168 }, { 2.4, 720 } };

static double times[MOST], noise[MOST], values[MOST], scratch[2 * MOST];
static gsl_rng *generator;

/* How often what came out, over the runs of a background. */
struct tally {
    int runs, dates, held, levels, levels_held;
};

/* One run of a background. */
struct run {
    size_t count;
    double hours;
    double settling, constant; /* of exponential settling; 0: none */
    double step, step_at;      /* its height, 0: none, and hour */
    double slope;
};

static void white(size_t count, double size)
{
    for (size_t i = 0; i < count; i++)
        noise[i] += gsl_ran_gaussian(generator, size);
}

static void random_walk(size_t count, double size)
{
    double at = 0;
    for (size_t i = 0; i < count; i++)
        noise[i] += at += gsl_ran_gaussian(generator, size);
}

/*
 * 1/f noise as white noise that was half integrated (Kasdin, Discrete
 * simulation of colored noise, Proceedings of the IEEE 83 (1995) 802, with
 * the spectrum's exponent 1; from memory).
 */
static void flicker(size_t count, double size)
{
    static double response[MOST + BEFORE], drawn[MOST + BEFORE];
    response[0] = 1;
    for (size_t k = 1; k < MOST + BEFORE; k++)
        response[k] = response[k - 1] * ((double)k - 0.5) / (double)k;
    for (size_t i = 0; i < count + BEFORE; i++)
        drawn[i] = gsl_ran_gaussian(generator, size);
    for (size_t i = 0; i < count; i++)
        for (size_t k = 0; k <= i + BEFORE; k++)
            noise[i] += response[k] * drawn[i + BEFORE - k];
}

static double uniform(double low, double high)
{
    return low + (high - low) * gsl_rng_uniform(generator);
}

static double course_at(const struct run *run, double hour)
{
    double settled = run->constant > 0 ? 1 - exp(-hour / run->constant) : 0;
    double stepped = hour < run->step_at ? 0 : run->step;
    return level + run->settling * settled + stepped + run->slope * hour;
}

static void draw_white(struct run *run)
{
    white(run->count, sigma);
}

/* 0.5 %, with time constants from a fortieth of the run to three times as long. */
static void draw_settling(struct run *run)
{
    white(run->count, sigma);
    run->settling = 0.005 * level;
    run->constant = run->hours * exp(uniform(log(0.025), log(3)));
}

static void draw_day(struct run *run)
{
    double swing = sigma * exp(uniform(log(1), log(20))), phase = uniform(0, 2 * M_PI);
    white(run->count, sigma);
    for (size_t i = 0; i < run->count; i++)
        noise[i] += swing * sin(2 * M_PI * times[i] / 24 + phase);
}

static void draw_day_and_settling(struct run *run)
{
    draw_day(run);
    run->settling = 0.005 * level;
    run->constant = run->hours * exp(uniform(log(0.025), log(3)));
}

/* Once, somewhere in the middle; from what just shows to what is plain. */
static void draw_step(struct run *run)
{
    white(run->count, sigma);
    run->step = sigma * exp(uniform(log(2), log(30)));
    run->step_at = run->hours * uniform(0.2, 0.8);
}

static void draw_walk(struct run *run)
{
    random_walk(run->count, sigma);
}

static void draw_walk_and_white(struct run *run)
{
    random_walk(run->count, sigma);
    white(run->count, sigma);
}

/* So slow that it hardly shows in the noise. */
static void draw_slow_walk_and_white(struct run *run)
{
    random_walk(run->count, 0.2 * sigma);
    white(run->count, sigma);
}

static void draw_flicker(struct run *run)
{
    flicker(run->count, sigma);
}

static void draw_flicker_and_white(struct run *run)
{
    flicker(run->count, sigma);
    white(run->count, sigma);
}

static void draw_day_and_flicker(struct run *run)
{
    double swing = sigma * exp(uniform(log(1), log(20))), phase = uniform(0, 2 * M_PI);
    flicker(run->count, sigma);
    for (size_t i = 0; i < run->count; i++)
        noise[i] += swing * sin(2 * M_PI * times[i] / 24 + phase);
}

static void draw_settling_and_walk(struct run *run)
{
    draw_settling(run);
    random_walk(run->count, 0.3 * sigma);
}

static void draw_step_and_walk(struct run *run)
{
    draw_step(run);
    random_walk(run->count, 0.3 * sigma);
}

/* Standard deviation of the noise about its mean: what a drift must stand out from. */
static double swing_of(size_t count)
{
    double mean = 0, square = 0;
    for (size_t i = 0; i < count; i++) {
        mean += noise[i] / (double)count;
        square += noise[i] * noise[i] / (double)count;
    }
    return sqrt(square - mean * mean);
}

static void draw(void (*background)(struct run *), const struct length *length, struct run *run)
{
    *run = (struct run) { .count = (size_t)(length->hours / length->apart) + 1,
                          .hours = length->hours };
    memset(noise, 0, sizeof noise);
    for (size_t i = 0; i < run->count; i++)
        times[i] = length->apart * (double)i;
    background(run);
}

static void put_values(const struct run *run)
{
    for (size_t i = 0; i < run->count; i++)
        values[i] = course_at(run, times[i]) + noise[i];
}

/* No drift: limits lie beyond all that was seen, and beyond where settling ends. */
static void without_drift(const struct run *run, struct tally *tally)
{
    double low = level, high = level;
    put_values(run);
    for (size_t i = 0; i < run->count; i++) {
        low = fmin(low, values[i]);
        high = fmax(high, values[i]);
    }
    high = fmax(high, level + run->settling);
    double room = (high - low) * exp(uniform(log(0.1), log(3)));
    const struct limits limits = limits_between(low - room, high + room);
    struct outlook outlook;
    outlook_find(times, values, run->count, 0, &limits, scratch, &outlook);
    tally->runs++;
    tally->dates += outlook.meets;
    if (run->constant > 0 && outlook.settles) {
        double end = level + run->settling;
        tally->levels++;
        tally->levels_held += outlook.settled.low <= end && end <= outlook.settled.high;
    }
}

/* A drift of several times the noise, to a limit that lies up to two run lengths ahead. */
static void with_drift(struct run *run, struct tally *tally)
{
    double size = fmax(swing_of(run->count), fmax(run->settling, run->step) / 3);
    run->slope = size / run->hours * exp(uniform(log(4), log(40)));
    put_values(run);
    double truth = run->hours * uniform(1.2, 3);
    const struct limits limits = limits_between(-INFINITY, course_at(run, truth));
    struct outlook outlook;
    outlook_find(times, values, run->count, 0, &limits, scratch, &outlook);
    tally->runs++;
    tally->dates += outlook.meets;
    tally->held +=
        outlook.meets && outlook.crossing.earliest <= truth && truth <= outlook.crossing.latest;
}

static const struct background_case {
    const char *name;
    void (*draw)(struct run *);
} cases[] = { { "white noise", draw_white },
              { "settling of 0.5 %", draw_settling },
              { "daily cycle", draw_day },
              { "daily cycle and settling", draw_day_and_settling },
              { "step", draw_step },
              { "random walk", draw_walk },
              { "random walk and white noise", draw_walk_and_white },
              { "slow random walk, white noise", draw_slow_walk_and_white },
              { "1/f noise", draw_flicker },
              { "1/f and white noise", draw_flicker_and_white },
              { "daily cycle and 1/f noise", draw_day_and_flicker },
              { "settling and slow walk", draw_settling_and_walk },
              { "step and slow walk", draw_step_and_walk } };

/* What is to come out, of intervals; of those of levels only the first. */
static const double least_held = 0.9;
static const double most_held = 0.98;

/* Twice the standard deviation of a share that is seen in so many. */
static double scatter(double share, int seen)
{
    return 2 * sqrt(share * (1 - share) / seen);
}

static double share(int part, int whole)
{
    return whole > 0 ? (double)part / whole : NAN;
}

/* GRADUS_BACKGROUND_RUNS: how many runs of each length. */
static void dates_are_earned(void **state)
{
    const char *wanted = getenv("GRADUS_BACKGROUND_RUNS");
    int runs = wanted != NULL ? atoi(wanted) : 60;
    bool well = true;
    (void)state;
    print_message("seed %d, %d runs of each length\n", SEED, runs);
    for (size_t c = 0; c < sizeof cases / sizeof *cases; c++) {
        struct tally still = { 0 }, drifting = { 0 };
        for (size_t l = 0; l < LENGTHS; l++) {
            for (int i = 0; i < runs; i++) {
                struct run run;
                draw(cases[c].draw, &lengths[l], &run);
                without_drift(&run, &still);
                draw(cases[c].draw, &lengths[l], &run);
                with_drift(&run, &drifting);
            }
        }
        double wrong = share(still.dates, still.runs), held = share(drifting.held, drifting.dates);
        print_message(
            "%-30s false dates %4.1f %%; of drifts %3.0f %% have a date, of those intervals "
            "%5.1f %% hold the truth",
            cases[c].name, 100 * wrong, 100 * share(drifting.dates, drifting.runs), 100 * held);
        if (still.levels > still.runs / 10)
            print_message("; %d levels, %.1f %% hold it", still.levels,
                          100 * share(still.levels_held, still.levels));
        print_message("\n");
        double level_held = share(still.levels_held, still.levels);
        if (still.levels > still.runs / 10)
            well = well && level_held >= least_held - scatter(least_held, still.levels);
        well = well && wrong < 0.02 && held >= least_held - scatter(least_held, drifting.dates) &&
               held <= most_held + scatter(most_held, drifting.dates) &&
               drifting.dates > drifting.runs / 5;
    }
    assert_true(well);
}

/* A piece of a daily cycle looks like a drift: from 2.4 h of it to a day. */
static void a_part_of_a_day_has_no_date(void **state)
{
    int dates = 0, runs = 0;
    (void)state;
    for (double hours = 2.4; hours < 24; hours *= 1.6) {
        for (int i = 0; i < 100; i++, runs++) {
            const struct length length = { hours / 60, hours };
            struct run run;
            draw(draw_white, &length, &run);
            double swing = sigma * uniform(5, 50), phase = uniform(0, 2 * M_PI);
            for (size_t k = 0; k < run.count; k++)
                noise[k] += swing * sin(2 * M_PI * times[k] / 24 + phase);
            put_values(&run);
            const struct limits limits =
                limits_between(level - 1.1 * swing - 4 * sigma, level + 1.1 * swing + 4 * sigma);
            struct outlook outlook;
            outlook_find(times, values, run.count, 0, &limits, scratch, &outlook);
            dates += outlook.meets;
        }
    }
    print_message("%d of %d parts of a day have a date\n", dates, runs);
    assert_true(dates <= runs / 50);
}

static int set_up(void **state)
{
    (void)state;
    generator = gsl_rng_alloc(gsl_rng_mt19937);
    gsl_rng_set(generator, SEED);
    return generator == NULL;
}

static int tear_down(void **state)
{
    (void)state;
    gsl_rng_free(generator);
    return 0;
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(dates_are_earned),
        cmocka_unit_test(a_part_of_a_day_has_no_date),
    };
    return cmocka_run_group_tests(tests, set_up, tear_down);
}
