/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Whatever a probe may be held to: 1 to 300 periods in records of 500 to 2500 samples, a third of a division
 * to seven high, with noise of up to two steps, at 8 and 12 bits. A value may be said to hold for its
 * record only (an average of what is not the same all along, what has no whole period); of the others 95
 * of 100 intervals at least hold the truth. Means and squares of the shapes are own derivation, extremes
 * the highest and lowest that the signal without noise comes to in the record.
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

enum { RECORDS = 60, FINER = 16, MOST = 2500, ASPECTS = 6, SEED = 20261202 };

/* Of one record. */
struct draw {
    unsigned short state[3];
    double frequency; /* periods per sample */
    double phase;
    double part; /* 0 to 1 */
    double slow; /* periods per sample of what modulates, and where that begins */
    double slow_phase;
    size_t count;
};

/* About from -1 to 1, at a sample. */
typedef double played(const struct draw *draw, double sample);

static double turns_of(const struct draw *draw, double sample)
{
    return draw->phase + draw->frequency * sample;
}

static double place_of(const struct draw *draw, double sample)
{
    double turns = turns_of(draw, sample);
    return turns - floor(turns);
}

static double slow_of(const struct draw *draw, double sample)
{
    return sin(2 * M_PI * (draw->slow * sample + draw->slow_phase));
}

static double sine(const struct draw *draw, double sample)
{
    return sin(2 * M_PI * turns_of(draw, sample));
}

static double harmonics(const struct draw *draw, double sample)
{
    double turns = turns_of(draw, sample);
    return sin(2 * M_PI * turns) + 0.3 * draw->part * sin(6 * M_PI * turns + 1) +
           0.1 * draw->part * sin(10 * M_PI * turns + 2);
}

static double pulse(const struct draw *draw, double sample)
{
    return place_of(draw, sample) < draw->part ? 1 : -1;
}

static double triangle(const struct draw *draw, double sample)
{
    return 1 - 4 * fabs(place_of(draw, sample) - 0.5);
}

static double sawtooth(const struct draw *draw, double sample)
{
    return 2 * place_of(draw, sample) - 1;
}

static double decay_of(const struct draw *draw)
{
    return 0.03 + 0.3 * draw->part;
}

static double decay(const struct draw *draw, double sample)
{
    return 2 * exp(-place_of(draw, sample) / decay_of(draw)) - 1;
}

/* Five whole turns in a part of the period. */
static double bursts(const struct draw *draw, double sample)
{
    double place = place_of(draw, sample);
    return place < draw->part ? sin(10 * M_PI * place / draw->part) : 0;
}

static double modulated_width(const struct draw *draw, double sample)
{
    return place_of(draw, sample) < 0.5 + 0.3 * slow_of(draw, sample) ? 1 : -1;
}

static double modulated_height(const struct draw *draw, double sample)
{
    return sine(draw, sample) * (1 + 0.5 * slow_of(draw, sample)) / 1.5;
}

static double two_tones(const struct draw *draw, double sample)
{
    return (sine(draw, sample) + draw->part * slow_of(draw, sample)) / (1 + draw->part);
}

static double nothing(const struct draw *draw, double sample)
{
    (void)draw;
    (void)sample;
    return 0;
}

/* Mean and mean square. */
struct moments {
    double mean, square;
};

static struct moments even(const struct draw *draw)
{
    (void)draw;
    return (struct moments) { 0, 0.5 };
}

static struct moments of_harmonics(const struct draw *draw)
{
    return (struct moments) { 0, 0.5 * (1 + 0.1 * draw->part * draw->part) };
}

static struct moments of_pulse(const struct draw *draw)
{
    return (struct moments) { 2 * draw->part - 1, 1 };
}

static struct moments of_ramps(const struct draw *draw)
{
    (void)draw;
    return (struct moments) { 0, 1 / 3.0 };
}

static struct moments of_decay(const struct draw *draw)
{
    double constant = decay_of(draw);
    double once = 2 * constant * (1 - exp(-1 / constant));
    double twice = 2 * constant * (1 - exp(-2 / constant));
    return (struct moments) { once - 1, twice - 2 * once + 1 };
}

static struct moments of_bursts(const struct draw *draw)
{
    return (struct moments) { 0, draw->part / 2 };
}

static struct moments of_width(const struct draw *draw)
{
    (void)draw;
    return (struct moments) { 0, 1 };
}

static struct moments of_height(const struct draw *draw)
{
    (void)draw;
    return (struct moments) { 0, 0.5 * 1.125 / 2.25 };
}

static struct moments of_tones(const struct draw *draw)
{
    double sum = 1 + draw->part;
    return (struct moments) { 0, 0.5 * (1 + draw->part * draw->part) / (sum * sum) };
}

static struct moments none(const struct draw *draw)
{
    (void)draw;
    return (struct moments) { 0, 0 };
}

static const struct kind {
    const char *name;
    played *at;
    struct moments (*moments)(const struct draw *draw);
    double fewest;    /* periods */
    double high, low; /* what it comes to in each period; 0: as the record has it */
} kinds[] = {
    { "sine", sine, even, 1, 1, -1 },
    { "sine with harmonics", harmonics, of_harmonics, 1, 0, 0 },
    { "pulses", pulse, of_pulse, 1, 1, -1 },
    { "triangle", triangle, of_ramps, 1, 1, -1 },
    { "sawtooth", sawtooth, of_ramps, 1, 1, -1 },
    { "decay", decay, of_decay, 1, 1, 0 },
    { "bursts", bursts, of_bursts, 1, 0, 0 },
    { "modulated width", modulated_width, of_width, 20, 0, 0 },
    { "modulated height", modulated_height, of_height, 20, 0, 0 },
    { "two tones", two_tones, of_tones, 20, 0, 0 },
    { "noise alone", nothing, none, 1, 0, 0 },
};

static const struct {
    const char *name;
    enum aspect aspect;
} aspects[ASPECTS] = { { "mean", ASPECT_DC },         { "rms", ASPECT_RMS },
                       { "ac", ASPECT_AC },           { "maximum", ASPECT_MAXIMUM },
                       { "minimum", ASPECT_MINIMUM }, { "peak to peak", ASPECT_PEAK_TO_PEAK } };

/* So many of a kind and an aspect. */
struct cell {
    double taken, held, flagged;
};

static double draw_even(struct draw *draw, double low, double high)
{
    return low + (high - low) * erand48(draw->state);
}

static double normal(struct draw *draw)
{
    double u = 1 - erand48(draw->state);
    return sqrt(-2 * log(u)) * cos(2 * M_PI * erand48(draw->state));
}

/* On a screen of eight divisions. */
struct shown {
    double step, amplitude, offset, sigma;
};

static void draw_record(const struct kind *kind, double bits, struct draw *draw,
                        struct shown *shown)
{
    static const size_t counts[] = { 500, 1000, 2500 };
    draw->count = counts[(size_t)draw_even(draw, 0, 3)];
    double periods = kind->fewest * pow(300 / kind->fewest, erand48(draw->state));
    draw->frequency = fmin(0.3, periods / (double)draw->count);
    draw->phase = erand48(draw->state);
    draw->part = draw_even(draw, 0.02, 0.98);
    draw->slow = draw_even(draw, 0.5, 8) / (double)draw->count;
    draw->slow_phase = erand48(draw->state);
    shown->step = 8 / exp2(bits);
    shown->amplitude = draw_even(draw, 0.15, 3.5);
    shown->offset = draw_even(draw, -0.5, 0.5);
    shown->sigma = draw_even(draw, 0, 2) * shown->step;
}

/* What the converter makes of it, and the truths in the order of `aspects`. */
static void play(const struct kind *kind, struct draw *draw, const struct shown *shown,
                 double samples[MOST], double truths[ASPECTS])
{
    double highest = -INFINITY, lowest = INFINITY;
    for (size_t i = 0; i < (draw->count - 1) * FINER + 1; i++) {
        double value = kind->at(draw, (double)i / FINER);
        highest = fmax(highest, value);
        lowest = fmin(lowest, value);
        double volts = shown->offset + shown->amplitude * value;
        if (i % FINER == 0)
            samples[i / FINER] =
                shown->step * round((volts + shown->sigma * normal(draw)) / shown->step);
    }
    struct moments moments = kind->moments(draw);
    double variance = moments.square - moments.mean * moments.mean;
    double high = kind->high > 0 ? kind->high : highest, low = kind->low < 0 ? kind->low : lowest;
    truths[0] = shown->offset + shown->amplitude * moments.mean;
    truths[2] = shown->amplitude * sqrt(variance);
    truths[1] = hypot(truths[0], truths[2]);
    truths[3] = shown->offset + shown->amplitude * high;
    truths[4] = shown->offset + shown->amplitude * low;
    truths[5] = shown->amplitude * (high - low);
}

/* What goes into an interval, as core/input/chain has it, but for the instrument's own errors. */
static double half_width(const struct estimate *estimate, double step)
{
    double rounding = step / sqrt(12 * fmax(1, estimate->averaged));
    double edges = estimate->edges / sqrt(6);
    return estimate->doubt + 2 * hypot(estimate->scatter, hypot(rounding, edges));
}

/* As daemon/measure/record_choice has it: a swing without a whole period. */
static bool without_period(const struct waveform *waveform)
{
    return waveform->periods == 0 && waveform->peak_to_peak > 8 * waveform->noise + 0.05 * 8;
}

static void count_record(const struct kind *kind, double bits, struct draw *draw,
                         struct cell cells[ASPECTS])
{
    double samples[MOST], truths[ASPECTS];
    struct shown shown;
    struct waveform waveform;
    draw_record(kind, bits, draw, &shown);
    play(kind, draw, &shown, samples, truths);
    struct series series = series_of_reals(samples, draw->count, 1e-3);
    series.step = shown.step;
    assert_true(waveform_measure_series(&series, &waveform));
    for (size_t i = 0; i < ASPECTS; i++) {
        struct estimate estimate =
            estimate_aspect(&series, &waveform, aspects[i].aspect, shown.step);
        bool flagged = without_period(&waveform) || estimate.passing;
        cells[i].flagged += flagged;
        cells[i].taken += !flagged;
        cells[i].held +=
            !flagged && fabs(estimate.value - truths[i]) <= half_width(&estimate, shown.step);
    }
}

/* By chance so many fewer, by three standard deviations of a share (binomial). */
static bool enough(const struct cell *cell)
{
    static const double fewest = 0.95;
    double chance = 3 * sqrt(fewest * (1 - fewest) * cell->taken);
    return cell->held >= fewest * cell->taken - chance;
}

static void test_any_signal(void **state)
{
    (void)state;
    bool good = true;
    struct cell all[ASPECTS] = { { 0 } };
    print_message(
        "seed %d: of %d records at 8 and at 12 bits each, %% that hold the truth of those "
        "not said to hold for the record only, and the share of these\n",
        SEED, RECORDS);
    for (size_t k = 0; k < sizeof kinds / sizeof *kinds; k++) {
        struct draw draw = { .state = { SEED & 0xffff, 3, (unsigned short)k } };
        struct cell cells[ASPECTS] = { { 0 } };
        for (size_t i = 0; i < 2 * (size_t)RECORDS; i++)
            count_record(&kinds[k], i % 2 ? 12 : 8, &draw, cells);
        print_message("%-20s", kinds[k].name);
        for (size_t i = 0; i < ASPECTS; i++) {
            good &= enough(&cells[i]);
            all[i].taken += cells[i].taken;
            all[i].held += cells[i].held;
            print_message("  %s %5.1f%s (%2.0f)", aspects[i].name,
                          100 * cells[i].held / fmax(1, cells[i].taken),
                          enough(&cells[i]) ? "" : " (!)", 100 * cells[i].flagged / (2 * RECORDS));
        }
        print_message("\n");
    }
    for (size_t i = 0; i < ASPECTS; i++) {
        good &= enough(&all[i]);
        print_message("all shapes %s: %.1f of %.0f\n", aspects[i].name,
                      100 * all[i].held / all[i].taken, all[i].taken);
    }
    assert_true(good);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_any_signal),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
