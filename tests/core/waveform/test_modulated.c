/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Averages of signals that are not the same from period to period: what their intervals hold, by kind of
 * modulation, and how often the record is said to be too short to tell. The truth is the average over
 * all phases of carrier and modulation, and the signals are written here (own derivation). What is
 * steady must not be called otherwise.
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

enum { RECORDS = 400, SAMPLES = 2000, GRID = 200, SEED = 20261130 };

static const double level = 0.7;

/* So many of those told for certain hold the truth, but for what is so by chance. */
static const double fewest_held = 0.95;

/* By three standard deviations of a share (binomial). */
static bool enough(double held, double taken)
{
    return held >= fewest_held * taken - 3 * sqrt(fewest_held * (1 - fewest_held) * taken);
}

/* Of two phases, in turns. */
typedef double played(double carrier, double modulation);

static double sine(double turns)
{
    return sin(2 * M_PI * turns);
}

static double pulse_width(double carrier, double modulation)
{
    return carrier - floor(carrier) < 0.5 + 0.3 * sine(modulation) ? 1 : -1;
}

static double on_hum(double carrier, double modulation)
{
    return 0.4 * sine(carrier) + sine(modulation);
}

static double on_little_hum(double carrier, double modulation)
{
    return sine(carrier) + 0.1 * sine(modulation);
}

static double amplitude(double carrier, double modulation)
{
    return (1 + 0.5 * sine(modulation)) / 1.5 * sine(carrier);
}

static double two_tones(double carrier, double modulation)
{
    return 0.6 * sine(carrier) + 0.4 * sine(modulation);
}

static double keyed(double carrier, double modulation)
{
    return modulation - floor(modulation) < 0.3 ? sine(carrier) : 0.1 * sine(carrier);
}

static double plain_sine(double carrier, double modulation)
{
    (void)modulation;
    return sine(carrier);
}

static double square(double carrier, double modulation)
{
    (void)modulation;
    return carrier - floor(carrier) < 0.5 ? 1 : -1;
}

static double narrow(double carrier, double modulation)
{
    (void)modulation;
    return carrier - floor(carrier) < 0.1 ? 1 : -1;
}

static double triangle(double carrier, double modulation)
{
    (void)modulation;
    return 1 - 4 * fabs(carrier - floor(carrier) - 0.5);
}

static double ringing(double carrier, double modulation)
{
    double turn = 2 * (carrier - floor(carrier)), half = turn - floor(turn);
    (void)modulation;
    return (turn < 1 ? 1 : -1) * (1 - 0.3 * exp(-12 * half) * cos(2 * M_PI * 6 * half)) / 1.3;
}

static double steady_level(double carrier, double modulation)
{
    (void)carrier;
    (void)modulation;
    return 0;
}

struct kind {
    const char *name;
    played *at;
    double slowest; /* modulation, in periods of it over the record */
    double fastest;
    bool steady;
};

static const struct kind kinds[] = {
    { "pulse width", pulse_width, 0.5, 20, false },
    { "carrier on hum", on_hum, 0.5, 20, false },
    { "carrier on a little hum", on_little_hum, 0.5, 20, false },
    { "amplitude", amplitude, 0.5, 20, false },
    { "two tones", two_tones, 20, 200, false },
    { "keyed", keyed, 1, 20, false },
    { "sine", plain_sine, 1, 1, true },
    { "square", square, 1, 1, true },
    { "narrow pulse", narrow, 1, 1, true },
    { "triangle", triangle, 1, 1, true },
    { "ringing", ringing, 1, 1, true },
    { "level", steady_level, 1, 1, true },
};

static const struct {
    const char *name;
    enum aspect aspect;
} aspects[] = { { "mean", ASPECT_DC }, { "ac", ASPECT_AC }, { "rms", ASPECT_RMS } };

/* What was counted of one kind and aspect. */
struct count {
    int held;    /* of all */
    int certain; /* not said to hold for its record only */
    int held_certain;
    int told; /* either held, or said to hold for its record only */
};

static double even(unsigned short state[3])
{
    return erand48(state);
}

static double normal(unsigned short state[3])
{
    double u = 1 - even(state);
    return sqrt(-2 * log(u)) * cos(2 * M_PI * even(state));
}

static double truth_of(const struct kind *kind, enum aspect aspect)
{
    double sum = 0, squares = 0;
    for (int i = 0; i < GRID; i++)
        for (int j = 0; j < GRID; j++) {
            double x = kind->at((i + 0.5) / GRID, (j + 0.5) / GRID);
            sum += x / GRID / GRID;
            squares += x * x / GRID / GRID;
        }
    double alternating = squares - sum * sum;
    if (aspect == ASPECT_AC)
        return sqrt(alternating);
    return aspect == ASPECT_RMS ? hypot(sum + level, sqrt(alternating)) : sum + level;
}

/* What goes into an interval, as core/input/chain has it, but for the instrument's own errors. */
static double half_width(const struct estimate *estimate, double step)
{
    double rounding = step / sqrt(12 * fmax(1, estimate->averaged));
    return estimate->doubt +
           2 * hypot(hypot(estimate->scatter, estimate->edges / sqrt(6)), rounding);
}

static void record_of(const struct kind *kind, double step, unsigned short state[3],
                      double samples[SAMPLES])
{
    double noise = 0.02 * even(state);
    double carrier = 20 * pow(4, even(state)) / SAMPLES;
    double modulation = kind->slowest * pow(kind->fastest / kind->slowest, even(state)) / SAMPLES;
    double first = even(state), second = even(state);
    for (int i = 0; i < SAMPLES; i++) {
        double x = level + kind->at(first + carrier * i, second + modulation * i);
        samples[i] = step * round((x + noise * normal(state)) / step);
    }
}

static struct count count_kind(const struct kind *kind, enum aspect aspect)
{
    static double samples[SAMPLES];
    unsigned short state[3] = { SEED & 0xffff, (unsigned short)aspect, 5 };
    struct count count = { 0 };
    double truth = truth_of(kind, aspect), step = 2.0 / 200;
    for (int i = 0; i < RECORDS; i++) {
        struct waveform waveform;
        record_of(kind, step, state, samples);
        struct series series = series_of_reals(samples, SAMPLES, 1e-6);
        assert_true(waveform_measure_series(&series, &waveform));
        struct estimate estimate = estimate_aspect(&series, &waveform, aspect, step);
        bool held = fabs(estimate.value - truth) <= half_width(&estimate, step);
        count.held += held;
        count.certain += !estimate.passing;
        count.held_certain += held && !estimate.passing;
        count.told += held || estimate.passing;
    }
    return count;
}

static void test_modulated_signals(void **state)
{
    (void)state;
    for (size_t i = 0; i < sizeof kinds / sizeof *kinds; i++)
        for (size_t j = 0; j < sizeof aspects / sizeof *aspects; j++) {
            if (aspects[j].aspect != ASPECT_DC && kinds[i].at == steady_level)
                continue;
            struct count count = count_kind(&kinds[i], aspects[j].aspect);
            double certain = 100.0 * count.certain / RECORDS;
            double held = 100.0 * count.held_certain / fmax(1, count.certain);
            print_message("seed %d, %-24s %-4s: %5.1f %% of the truths inside; %5.1f %% told for "
                          "certain, %5.1f %% of these inside\n",
                          SEED, kinds[i].name, aspects[j].name, 100.0 * count.held / RECORDS,
                          certain, held);
            assert_true(enough(count.held_certain, count.certain));
            assert_true(!kinds[i].steady || certain >= 99);
        }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_modulated_signals),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
