/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Waveform constants, and what an average-responding meter reads. */
#include "core/input/suitability.h"
#include "core/input/waveshape.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "tests/near.h"

/*
 * Own derivation, integrals over one period of peak 1: mean magnitude and RMS
 * are 2/pi and 1/sqrt(2) of a sine, 1/2 and 1/sqrt(3) of a triangle and a
 * sawtooth, 1/pi and 1/2 of half waves, D and sqrt(D) of a pulse; ac RMS
 * sqrt(RMS^2 - mean^2). Such a meter shows pi / sqrt(8) times the mean
 * magnitude, that of ac with the mean taken away.
 */
static void constants(void **state)
{
    (void)state;
    static const struct {
        struct waveshape shape;
        double rows[7];
    } cases[] = {
        /* mean, rms, ac rms, mean magnitude, errors in per cent dc and ac coupled, crest factor */
        { { WAVESHAPE_SINE, 0 },
          { 0.0, 0.7071067812, 0.7071067812, 0.6366197724, 0.0, 0.0, 1.414213562 } },
        { { WAVESHAPE_SQUARE, 0 }, { 0.0, 1.0, 1.0, 1.0, 11.072073, 11.072073, 1.0 } },
        { { WAVESHAPE_TRIANGLE, 0 },
          { 0.0, 0.5773502692, 0.5773502692, 0.5, -3.8087627, -3.8087627, 1.732050808 } },
        { { WAVESHAPE_SAWTOOTH, 0 },
          { 0.0, 0.5773502692, 0.5773502692, 0.5, -3.8087627, -3.8087627, 1.732050808 } },
        { { WAVESHAPE_HALF_WAVE, 0 },
          { 0.3183098862, 0.5, 0.3855889215, 0.3183098862, -29.289322, 1.0630533, 2.0 } },
        { { WAVESHAPE_FULL_WAVE, 0 },
          { 0.6366197724, 0.7071067812, 0.3077584531, 0.6366197724, 0.0, -3.2646306,
            1.414213562 } },
        { { WAVESHAPE_PULSE, 0.25 },
          { 0.25, 0.5, 0.4330127019, 0.25, -44.463963, -3.8087627, 2.0 } },
        { { WAVESHAPE_PULSE, 0.1 },
          { 0.1, 0.316227766, 0.3, 0.1, -64.875926, -33.356756, 3.16227766 } },
        { { WAVESHAPE_PULSE, 0.01 },
          { 0.01, 0.1, 0.09949874371, 0.01, -88.892793, -77.896936, 10.0 } },
    };
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        struct waveshape_figures figures = waveshape_figures(cases[i].shape);
        const double *row = cases[i].rows;
        assert_within(figures.mean, row[0], 1e-9);
        assert_within(figures.rms, row[1], 1e-9);
        assert_within(figures.ac_rms, row[2], 1e-9);
        assert_within(figures.magnitude, row[3], 1e-9);
        assert_within(100 * waveshape_average_error(cases[i].shape, false), row[4], 1e-6);
        assert_within(100 * waveshape_average_error(cases[i].shape, true), row[5], 1e-6);
        /* The table's crest factor is that of the whole, with its mean. */
        assert_near(1 / figures.rms, row[6], 1e-8);
    }
}

/*
 * Helfrick and Cooper, Modern Electronic Instrumentation and Measurement Techniques,
 * Example 6-2 (p. 132): a sawtooth reads 0.961 of its RMS (exact 0.9619), a square
 * 1.11. The book uses the form factor 1.11 for 1.1107.
 */
static void sawtooth_and_square(void **state)
{
    (void)state;
    struct waveshape sawtooth = { WAVESHAPE_SAWTOOTH, 0 }, square = { WAVESHAPE_SQUARE, 0 };
    assert_near(1 + waveshape_average_error(sawtooth, false), 0.9619123726, 1e-9);
    assert_within(1 + waveshape_average_error(sawtooth, false), 0.961, 0.001);
    assert_within(1 + waveshape_average_error(square, false), 1.11, 0.001);
}

/*
 * A true-rms meter's error grows in steps with the crest factor: common
 * practice, no source. The figures are invented: 0.04 % to 2, 0.18 % to 3, 0.35
 * % to 4, 0.55 % to 5.
 */
static void crest_factor_derating(void **state)
{
    (void)state;
    struct abilities abilities = abilities_unknown();
    static const double rows[][2] = {
        { 1, 0.0004 },    { 1.414, 0.0004 }, { 2, 0.0004 },
        { 2.01, 0.0018 }, { 3.5, 0.0035 },   { 5, 0.0055 },
    };
    abilities.response = RESPONSE_TRUE_RMS;
    abilities.crest_count = 4;
    for (size_t i = 0; i < 4; i++) {
        static const double shares[] = { 0.0004, 0.0018, 0.0035, 0.0055 };
        abilities.crest_errors[i] = (struct crest_error) { (double)i + 2, shares[i] };
    }
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        struct signal_facts signal_facts = { ASPECT_AC, { WAVESHAPE_UNKNOWN, 0 }, 50, rows[i][0] };
        struct suitability suitability = suitability_crest(&abilities, &signal_facts);
        assert_int_equal(suitability.state, SUITABILITY_PARTIAL);
        assert_within(suitability.share, rows[i][1], 1e-15);
    }
    struct signal_facts beyond = { ASPECT_AC, { WAVESHAPE_UNKNOWN, 0 }, 50, 5.1 };
    assert_int_equal(suitability_crest(&abilities, &beyond).state, SUITABILITY_NONE);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(constants),
        cmocka_unit_test(sawtooth_and_square),
        cmocka_unit_test(crest_factor_derating),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
