/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Extremes of signals that are none of those a scope is shown in a textbook: what their intervals hold.
 * The truth is the highest, or lowest, that the signal without noise comes to during the record, from
 * finer places than samples have (own derivation: it is written here). Rounded to 8 and 12 bits.
 */
#include "core/waveform/estimate.h"
#include "core/waveform/waveform.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>

#include <cmocka.h>

enum { RECORDS = 200, SAMPLES = 1000, FINER = 16, MOST_PERIODS = 64, SEED = 20261201 };

/* Of one record. */
struct draw {
    unsigned short state[3];
    double spacing; /* of samples, in periods */
    double phase;
    double sigma;
    double steps;                /* of the converter, in what it can show, which is 2.6 */
    double levels[MOST_PERIODS]; /* -1 to 1, of each period */
    double slow;                 /* so many turns of a modulation over the record, */
    double slow_phase;
};

/* About from -1 to 1. `turns` since before the record, `share` of the record that has passed. */
typedef double played(const struct draw *draw, double turns, double share);

static double part_of(double turns)
{
    return turns - floor(turns);
}

static double level_of(const struct draw *draw, double turns)
{
    return draw->levels[(size_t)turns];
}

static double square(double turns)
{
    return part_of(turns) < 0.5 ? 1 : -1;
}

static double wandering_square(const struct draw *draw, double turns, double share)
{
    (void)share;
    return square(turns) * (1 + 0.05 * level_of(draw, turns));
}

static double wandering_sine(const struct draw *draw, double turns, double share)
{
    (void)share;
    return sin(2 * M_PI * turns) * (1 + 0.05 * level_of(draw, turns));
}

static double drifting_square(const struct draw *draw, double turns, double share)
{
    (void)draw;
    return square(turns) + 0.1 * share;
}

static double modulated_square(const struct draw *draw, double turns, double share)
{
    return square(turns) * (1 + 0.05 * sin(2 * M_PI * (draw->slow * share + draw->slow_phase)));
}

static double modulated_sine(const struct draw *draw, double turns, double share)
{
    double slow = sin(2 * M_PI * (draw->slow * share + draw->slow_phase));
    return sin(2 * M_PI * turns) * (1 + 0.2 * slow) / 1.2;
}

static double rectified(const struct draw *draw, double turns, double share)
{
    (void)draw;
    (void)share;
    return 2 * fabs(sin(M_PI * turns)) - 1;
}

static double cusps(const struct draw *draw, double turns, double share)
{
    (void)draw;
    (void)share;
    return 2 * sqrt(fabs(sin(M_PI * turns))) - 1;
}

static double peaks(const struct draw *draw, double turns, double share)
{
    return -rectified(draw, turns, share);
}

/* One sample wide behind the edge. */
static double overshooting(const struct draw *draw, double turns, double share)
{
    (void)share;
    double since = part_of(2 * turns);
    return square(turns) * (since < draw->spacing ? 1.1 : 1);
}

/* Six samples. */
static double wide_overshoot(const struct draw *draw, double turns, double share)
{
    (void)share;
    double since = part_of(2 * turns) / draw->spacing;
    return square(turns) * (since < 6 ? 1 + 0.2 * (1 - since / 6) : 1);
}

/* Falls to 1/e in a tenth of the period. */
static double decay(const struct draw *draw, double turns, double share)
{
    (void)draw;
    (void)share;
    return 2 * exp(-part_of(turns) / 0.1) - 1;
}

/* Up and down within a fiftieth. */
static double spikes(const struct draw *draw, double turns, double share)
{
    (void)draw;
    (void)share;
    return 2 * exp(-fabs(part_of(turns) - 0.5) / 0.05) - 1;
}

static double ringing(const struct draw *draw, double turns, double share)
{
    (void)draw;
    (void)share;
    double half = part_of(2 * turns) / 2;
    return square(turns) * (1 - 0.3 * exp(-24 * half) * cos(2 * M_PI * 12 * half)) / 1.2;
}

static double bursts(const struct draw *draw, double turns, double share)
{
    (void)draw;
    (void)share;
    double part = part_of(turns);
    return part < 0.4 ? sin(2 * M_PI * 10 * part) * sin(M_PI * part / 0.4) : 0;
}

static double staircase(const struct draw *draw, double turns, double share)
{
    (void)draw;
    (void)share;
    return floor(8 * part_of(turns)) / 3.5 - 1;
}

static double rounded(const struct draw *draw, double turns, double share)
{
    (void)draw;
    (void)share;
    return tanh(4 * sin(2 * M_PI * turns)) / tanh(4);
}

static const struct kind {
    const char *name;
    played *at;
} kinds[] = {
    { "wandering square", wandering_square },
    { "wandering sine", wandering_sine },
    { "drifting square", drifting_square },
    { "modulated square", modulated_square },
    { "modulated sine", modulated_sine },
    { "rectified sine", rectified },
    { "rectified, upside down", peaks },
    { "cusps", cusps },
    { "overshoot of one sample", overshooting },
    { "overshoot of six", wide_overshoot },
    { "decay", decay },
    { "spikes", spikes },
    { "ringing", ringing },
    { "bursts", bursts },
    { "staircase", staircase },
    { "rounded square", rounded },
};

static const struct {
    const char *name;
    enum aspect aspect;
} aspects[] = { { "maximum", ASPECT_MAXIMUM },
                { "minimum", ASPECT_MINIMUM },
                { "peak to peak", ASPECT_PEAK_TO_PEAK } };

enum { ASPECTS = sizeof aspects / sizeof *aspects };

/* In 100: of 200 records so many fewer than 95 are so by chance, by three standard deviations. */
static const double fewest_held = 95 - 4.6;

static double normal(struct draw *draw)
{
    double u = 1 - erand48(draw->state);
    return sqrt(-2 * log(u)) * cos(2 * M_PI * erand48(draw->state));
}

static double even(struct draw *draw, double low, double high)
{
    return low + (high - low) * erand48(draw->state);
}

/* Three to fifty periods, noise from 0.1 to 10 % of the amplitude. */
static void draw_record(double bits, struct draw *draw)
{
    draw->spacing = 3.1 * pow(50 / 3.1, erand48(draw->state)) / SAMPLES;
    draw->phase = erand48(draw->state);
    draw->sigma = 1e-3 * pow(100, erand48(draw->state));
    draw->steps = exp2(bits);
    draw->slow = even(draw, 0.5, 5);
    draw->slow_phase = erand48(draw->state);
    for (size_t i = 0; i < MOST_PERIODS; i++)
        draw->levels[i] = even(draw, -1, 1);
}

/* What the converter makes of it, and the truths in the order of `aspects`. */
static void play(played *at, struct draw *draw, double step, double samples[SAMPLES],
                 double truths[ASPECTS])
{
    double highest = -INFINITY, lowest = INFINITY;
    for (size_t i = 0; i < (SAMPLES - 1) * FINER + 1; i++) {
        double sample = (double)i / FINER;
        double value = at(draw, draw->phase + draw->spacing * sample, sample / SAMPLES);
        highest = fmax(highest, value);
        lowest = fmin(lowest, value);
        if (i % FINER == 0)
            samples[i / FINER] = step * round((value + draw->sigma * normal(draw)) / step);
    }
    truths[0] = highest;
    truths[1] = lowest;
    truths[2] = highest - lowest;
}

/* What goes into an interval, as core/input/chain has it, but for the instrument's own errors. */
static double half_width(const struct estimate *estimate, double step)
{
    double rounding = step / sqrt(12 * fmax(1, estimate->averaged));
    return estimate->doubt + 2 * hypot(estimate->scatter, rounding);
}

static void count_record(const struct kind *kind, double bits, struct draw *draw,
                         double held[ASPECTS], double widths[ASPECTS])
{
    double samples[SAMPLES], truths[ASPECTS];
    draw_record(bits, draw);
    double step = 2.6 / draw->steps;
    play(kind->at, draw, step, samples, truths);
    struct series series = series_of_reals(samples, SAMPLES, 1e-3);
    struct waveform waveform;
    assert_true(waveform_measure_series(&series, &waveform));
    for (size_t i = 0; i < ASPECTS; i++) {
        struct estimate estimate = estimate_aspect(&series, &waveform, aspects[i].aspect, step);
        double width = half_width(&estimate, step);
        held[i] += fabs(estimate.value - truths[i]) <= width;
        widths[i] += width / hypot(draw->sigma, step / sqrt(12)) / RECORDS;
    }
}

static void count_kinds(double bits)
{
    bool good = true;
    for (size_t k = 0; k < sizeof kinds / sizeof *kinds; k++) {
        struct draw draw = { .state = { SEED & 0xffff, (unsigned short)bits, (unsigned short)k } };
        double held[ASPECTS] = { 0 }, widths[ASPECTS] = { 0 };
        for (size_t i = 0; i < RECORDS; i++)
            count_record(&kinds[k], bits, &draw, held, widths);
        print_message("seed %d, %2.0f bits, %-24s", SEED, bits, kinds[k].name);
        for (size_t i = 0; i < ASPECTS; i++) {
            double share = 100 * held[i] / RECORDS;
            good &= share >= fewest_held;
            print_message("  %s %5.1f %%%s, +- %.1f sigma", aspects[i].name, share,
                          share >= fewest_held ? "" : " (!)", widths[i]);
        }
        print_message("\n");
    }
    assert_true(good);
}

static void test_eight_bits(void **state)
{
    (void)state;
    count_kinds(8);
}

static void test_twelve_bits(void **state)
{
    (void)state;
    count_kinds(12);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_eight_bits),
        cmocka_unit_test(test_twelve_bits),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
