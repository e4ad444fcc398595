/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Modulated signals with 0.3 to 30 periods of what modulates in the record: of any depth, any of four
 * shapes of carrier and of modulation, at 8 and 12 bits, with noise. An average must hold the truth, that
 * over all phases of both (own derivation), or be said to hold for its record only, in 95 of 100 of each
 * kind and decade. A pulse that modulates has a flank in the middle of the record: what does not happen
 * in it cannot be seen.
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

enum { RECORDS = 120, MOST = 2500, CARRIERS = 64, MODULATIONS = 128, BANDS = 4, SEED = 20261203 };

/* The edges of the bands, in periods of what modulates over the record. */
static const double bands[BANDS + 1] = { 0.3, 1, 3, 10, 30 };

static const double fewest_told = 0.95;

enum shape { SHAPE_SINE, SHAPE_PULSE, SHAPE_TRIANGLE, SHAPE_SAWTOOTH, SHAPES };

struct draw {
    unsigned short state[3];
    enum shape slow, fast;
    double depth;
    double part; /* of a period that a pulse lasts */
    double slow_frequency, slow_phase;
    double fast_frequency, fast_phase; /* periods per sample, and turns */
    size_t count;
    double step, amplitude, offset, sigma;
};

/* Of the phases of carrier and modulation, in turns. */
typedef double played(const struct draw *draw, double fast, double slow);

static double place(double turns)
{
    return turns - floor(turns);
}

static double shaped(enum shape shape, double part, double turns)
{
    switch (shape) {
    case SHAPE_PULSE:
        return place(turns) < part ? 1 : -1;
    case SHAPE_TRIANGLE:
        return 1 - 4 * fabs(place(turns) - 0.5);
    case SHAPE_SAWTOOTH:
        return 2 * place(turns) - 1;
    default:
        return sin(2 * M_PI * turns);
    }
}

static double carrier(const struct draw *draw, double fast)
{
    return shaped(draw->fast, 0.5, fast);
}

static double modulation(const struct draw *draw, double slow)
{
    return shaped(draw->slow, draw->part, slow);
}

static double height(const struct draw *draw, double fast, double slow)
{
    double depth = draw->depth;
    return carrier(draw, fast) * (1 + depth * modulation(draw, slow)) / (1 + depth);
}

static double width(const struct draw *draw, double fast, double slow)
{
    return place(fast) < 0.5 + 0.45 * draw->depth * modulation(draw, slow) ? 1 : -1;
}

static double on_slow(const struct draw *draw, double fast, double slow)
{
    return (draw->depth * modulation(draw, slow) + carrier(draw, fast)) / (1 + draw->depth);
}

static double under_fast(const struct draw *draw, double fast, double slow)
{
    return (modulation(draw, slow) + draw->depth * carrier(draw, fast)) / (1 + draw->depth);
}

static double bursts(const struct draw *draw, double fast, double slow)
{
    return place(slow) < draw->part ? carrier(draw, fast) : 0;
}

/* By up to three tenths of the frequency. */
static double frequency(const struct draw *draw, double fast, double slow)
{
    double turns = 0.3 * draw->depth * draw->fast_frequency / draw->slow_frequency / (2 * M_PI);
    return carrier(draw, fast + turns * sin(2 * M_PI * slow));
}

static const struct kind {
    const char *name;
    played *at;
    double nearest; /* the carrier is at least so many times as fast */
    bool flanks;    /* a pulse whatever the shape of modulation */
} kinds[] = {
    { "height", height, 4, false },
    { "width", width, 4, false },
    { "on something slow", on_slow, 4, false },
    { "under something fast", under_fast, 4, false },
    { "bursts", bursts, 4, true },
    { "frequency", frequency, 4, false },
    { "two tones", under_fast, 1.1, false },
};

static const struct {
    const char *name;
    enum aspect aspect;
} aspects[] = { { "mean", ASPECT_DC }, { "ac", ASPECT_AC }, { "rms", ASPECT_RMS } };

enum { ASPECTS = sizeof aspects / sizeof *aspects };

static double even(struct draw *draw, double low, double high)
{
    return low + (high - low) * erand48(draw->state);
}

static double normal(struct draw *draw)
{
    double u = 1 - erand48(draw->state);
    return sqrt(-2 * log(u)) * cos(2 * M_PI * erand48(draw->state));
}

/* So many periods of each in the record. Close to a whole ratio phases would not come to all values. */
static bool draw_frequencies(const struct kind *kind, size_t band, struct draw *draw)
{
    double slow = bands[band] * pow(bands[band + 1] / bands[band], erand48(draw->state));
    double most = fmin((double)draw->count / 8, 300);
    double least = fmax(5, kind->nearest * slow);
    double ratio = least * pow(fmax(1, most / least), erand48(draw->state)) / slow;
    if (kind->nearest >= 2)
        ratio = floor(ratio) + 0.382;
    draw->slow_frequency = slow / (double)draw->count;
    draw->fast_frequency = ratio * draw->slow_frequency;
    draw->slow_phase = erand48(draw->state);
    if (draw->slow == SHAPE_PULSE || kind->flanks) {
        double flank = draw->slow_phase + slow * even(draw, 0.1, 0.9);
        draw->slow_phase -= place(flank) - (even(draw, 0, 1) < 0.5 ? 0 : draw->part);
    }
    return ratio * slow <= (double)draw->count / 8;
}

static void draw_signal(const struct kind *kind, size_t band, double bits, struct draw *draw)
{
    static const size_t counts[] = { 500, 1000, 2500 };
    do {
        draw->count = counts[(size_t)even(draw, 0, 3)];
        draw->slow = (enum shape)even(draw, 0, SHAPES);
        draw->fast = (enum shape)even(draw, 0, SHAPES);
        draw->depth = pow(0.03, erand48(draw->state));
        draw->part = even(draw, 0.1, 0.9);
    } while (!draw_frequencies(kind, band, draw));
    draw->fast_phase = erand48(draw->state);
    draw->step = 8 / exp2(bits);
    draw->amplitude = even(draw, 0.3, 3.5);
    draw->offset = even(draw, -0.5, 0.5);
    draw->sigma = even(draw, 0, 2) * draw->step;
}

static void find_truths(const struct kind *kind, const struct draw *draw, double truths[ASPECTS])
{
    double sum = 0, squares = 0, all = (double)CARRIERS * MODULATIONS;
    for (int j = 0; j < MODULATIONS; j++)
        for (int i = 0; i < CARRIERS; i++) {
            double golden = place(j * 0.618034);
            double x = kind->at(draw, (i + golden) / CARRIERS, (j + 0.5) / MODULATIONS);
            sum += x / all;
            squares += x * x / all;
        }
    truths[0] = draw->offset + draw->amplitude * sum;
    truths[1] = draw->amplitude * sqrt(squares - sum * sum);
    truths[2] = hypot(truths[0], truths[1]);
}

static void play(const struct kind *kind, struct draw *draw, double samples[MOST])
{
    for (size_t i = 0; i < draw->count; i++) {
        double fast = draw->fast_phase + draw->fast_frequency * (double)i;
        double slow = draw->slow_phase + draw->slow_frequency * (double)i;
        double volts = draw->offset + draw->amplitude * kind->at(draw, fast, slow);
        samples[i] = draw->step * round((volts + draw->sigma * normal(draw)) / draw->step);
    }
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

struct count {
    double flagged; /* said to hold for the record only */
    double told;    /* that, or holds the truth */
    double far;     /* neither, and twice as far off as it says */
};

static void count_record(const struct kind *kind, struct draw *draw, struct count counts[ASPECTS])
{
    double samples[MOST], truths[ASPECTS];
    struct waveform waveform;
    find_truths(kind, draw, truths);
    play(kind, draw, samples);
    struct series series = series_of_reals(samples, draw->count, 1e-3);
    series.step = draw->step;
    assert_true(waveform_measure_series(&series, &waveform));
    for (size_t i = 0; i < ASPECTS; i++) {
        struct estimate seen = estimate_aspect(&series, &waveform, aspects[i].aspect, draw->step);
        bool flagged = seen.passing || without_period(&waveform);
        double off = fabs(seen.value - truths[i]) / half_width(&seen, draw->step);
        counts[i].flagged += flagged;
        counts[i].told += flagged || off <= 1;
        counts[i].far += !flagged && !(off <= 2);
    }
}

/* By chance so many fewer, by three standard deviations of a share (binomial). */
static bool enough(double told)
{
    return told >= fewest_told * RECORDS - 3 * sqrt(fewest_told * (1 - fewest_told) * RECORDS);
}

static bool count_band(const struct kind *kind, size_t band, struct count *all)
{
    struct draw draw = { .state = { SEED & 0xffff, (unsigned short)(kind - kinds),
                                    (unsigned short)band } };
    struct count counts[ASPECTS] = { { 0 } };
    bool good = true;
    for (int i = 0; i < RECORDS; i++) {
        draw_signal(kind, band, i % 2 ? 12 : 8, &draw);
        count_record(kind, &draw, counts);
    }
    print_message("%-20s %4.1f to %4.1f", kind->name, bands[band], bands[band + 1]);
    for (size_t i = 0; i < ASPECTS; i++) {
        good &= enough(counts[i].told);
        all->told += counts[i].told;
        all->far += counts[i].far;
        print_message("  %s %5.1f%s (%2.0f)", aspects[i].name, 100 * counts[i].told / RECORDS,
                      enough(counts[i].told) ? "" : " (!)", 100 * counts[i].flagged / RECORDS);
    }
    print_message("\n");
    return good;
}

/* Of all kinds and bands together more still hold, and few are far off: what hides in the noise. */
static void test_few_modulations(void **state)
{
    (void)state;
    bool good = true;
    struct count all = { 0 };
    size_t count = sizeof kinds / sizeof *kinds;
    print_message("seed %d: of %d records each, %% that hold the truth or are said to hold for the "
                  "record only, and the share of these\n",
                  SEED, RECORDS);
    for (size_t k = 0; k < count; k++)
        for (size_t band = 0; band < BANDS; band++)
            good &= count_band(&kinds[k], band, &all);
    double records = (double)(count * BANDS * ASPECTS * RECORDS);
    print_message("of all %.2f %%; %.2f %% twice as far off as they say\n",
                  100 * all.told / records, 100 * all.far / records);
    assert_true(good);
    assert_true(all.told >= 0.98 * records && all.far <= 0.01 * records);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_few_modulations),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
