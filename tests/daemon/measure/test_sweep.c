/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Readings of random signals by random instruments through the whole of measuring, drivers and core, with
 * a hand now and then at a knob between any two messages. A value must be within its interval
 * most of the time, and hardly ever twice as far off: each such is a wrong number. GRADUS_SWEEP_READINGS:
 * how many; GRADUS_SWEEP_SEED: from which seed.
 */
#include "daemon/measure/measure.h"
#include "daemon/settings/settings.h"
#include "rack.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

enum { READINGS = 1500, EACH = 150, SEED = 20261204, PLENTY_MS = 60000, POINTS = 8 };

/* One rack, as the daemon has it. */
struct site {
    struct rack *rack;
    struct bench *bench;
    struct instrument *instruments[2];
    struct measure_memory memory[POINTS];
    unsigned short state[3];
};

/* Of an aspect. */
struct tally {
    int taken, held, far, flagged, none;
};

static double even(struct site *site, double low, double high)
{
    return low + (high - low) * erand48(site->state);
}

static void open_site(struct site *site, unsigned seed)
{
    struct problems problems = { 0 };
    char path[128];
    memset(site, 0, sizeof *site);
    site->state[0] = (unsigned short)seed;
    site->state[2] = 5;
    site->rack = rack_start(seed);
    assert_non_null(site->rack);
    snprintf(path, sizeof path, "%s/sweep.cfg", rack_folder(site->rack));
    const char *text = rack_settings(site->rack);
    site->bench = settings_read(text, strlen(text), path, &problems);
    for (size_t i = 0; i < problems.count; i++)
        print_error("%s\n", problems.lines[i]);
    assert_non_null(site->bench);
    problems_free(&problems);
    for (size_t i = 0; i < 2; i++) {
        const struct bench_instrument *each = &site->bench->instruments[i];
        site->instruments[i] = instrument_new(each->profile, &each->link, each->name);
        assert_non_null(site->instruments[i]);
    }
}

static void close_site(struct site *site)
{
    instrument_free(site->instruments[0]);
    instrument_free(site->instruments[1]);
    bench_unref(site->bench);
    rack_stop(site->rack);
}

static struct rack_signal draw_signal(struct site *site, bool scope)
{
    double most = rack_most(site->rack, scope) * (scope ? 0.9 : 0.95);
    double height = most * pow(1e-3, even(site, 0, 1.2));
    double part = even(site, 0, 1);
    struct rack_signal signal = { .shape = (enum rack_shape)even(site, 0, RACK_SHAPES),
                                  .level = height * (1 - part) * (even(site, 0, 1) < 0.5 ? -1 : 1),
                                  .amplitude = height * part / 1.3,
                                  .frequency = 60 * pow(2e3, even(site, 0, 1)),
                                  .duty = even(site, 0.05, 0.95),
                                  .noise = 0 };
    if (signal.shape == RACK_LEVEL)
        signal.amplitude = 0;
    if (scope)
        signal.noise = height * pow(10, even(site, -5, -1.5));
    return signal;
}

static bool is_flagged(const struct reading *reading)
{
    for (size_t i = 0; i < reading->warning_count; i++)
        if (strstr(reading->warnings[i], "this record only"))
            return true;
    return false;
}

static void tell(const struct reading *reading, const struct rack_signal *signal, const char *name,
                 double truth, unsigned seed, bool touched)
{
    print_message("seed %u %s: %.6g +- %.3g, truth %.6g; shape %d level %.4g amplitude %.4g "
                  "%.5g Hz duty %.3g noise %.3g%s; range %zu\n",
                  seed, name, reading->value, reading->expanded.uncertainty, truth,
                  (int)signal->shape, signal->level, signal->amplitude, signal->frequency,
                  signal->duty, signal->noise, touched ? ", touched" : "", reading->setup.range);
    for (size_t i = 0; i < reading->warning_count; i++)
        print_message("   %s\n", reading->warnings[i]);
}

static void read_one(struct site *site, unsigned seed, struct tally tallies[2][RACK_ASPECTS])
{
    size_t at = (size_t)even(site, 0, POINTS);
    bool scope = at < RACK_ASPECTS;
    enum rack_aspect aspect = (enum rack_aspect)(scope ? at : at - RACK_ASPECTS);
    struct rack_signal signal = draw_signal(site, scope);
    const struct bench_point *point = &site->bench->points[at];
    struct tally *tally = &tallies[scope][aspect];
    struct measure_zeros zeros = { 0 };
    struct reading reading;
    unsigned hand = even(site, 0, 1) < 0.3 ? 1 + (unsigned)even(site, 0, 60) : 0;
    rack_play(site->rack, &signal, hand);
    measure_point(site->instruments[!scope], site->bench, point, &zeros, 1, deadline_in(PLENTY_MS),
                  NULL, &site->memory[at], &reading);
    bool touched = rack_touched(site->rack);
    double value, uncertainty, truth = rack_truth(&signal, aspect);
    if (!reading_value(&reading, &value, &uncertainty)) {
        tally->none++;
        if (getenv("GRADUS_SWEEP_TELL"))
            print_message("none %s: %s\n", point->name, reading.failure.what);
        return;
    }
    if (is_flagged(&reading)) {
        tally->flagged++;
        return;
    }
    double off = fabs(value - truth) / uncertainty;
    tally->taken++;
    tally->held += off <= 1;
    tally->far += !(off <= 2);
    if (!(off <= 2))
        tell(&reading, &signal, point->name, truth, seed, touched);
}

static int number_of(const char *name, int otherwise)
{
    const char *text = getenv(name);
    return text ? (int)strtol(text, NULL, 10) : otherwise;
}

static void test_sweep(void **state)
{
    static const char *const names[] = { "mean", "ac", "rms", "peaks", "high", "low" };
    struct tally tallies[2][RACK_ASPECTS] = { { { 0 } } }, all = { 0 };
    int readings = number_of("GRADUS_SWEEP_READINGS", READINGS);
    unsigned seed = (unsigned)number_of("GRADUS_SWEEP_SEED", SEED);
    (void)state;
    for (int i = 0; i < readings; i += EACH, seed++) {
        struct site site;
        open_site(&site, seed);
        for (int k = 0; k < EACH; k++)
            read_one(&site, seed, tallies);
        close_site(&site);
    }
    for (int s = 1; s >= 0; s--)
        for (int a = 0; a < RACK_ASPECTS; a++) {
            const struct tally *each = &tallies[s][a];
            if (each->taken + each->none + each->flagged == 0)
                continue;
            print_message("%s %-5s: %5d values, %6.2f %% hold the truth, %d far off; %d for the "
                          "record only, %d none\n",
                          s ? "scope" : "meter", names[a], each->taken,
                          100.0 * each->held / fmax(1, each->taken), each->far, each->flagged,
                          each->none);
            all.taken += each->taken;
            all.held += each->held;
            all.far += each->far;
        }
    print_message("of all %d, %.2f %% hold the truth, %d far off\n", all.taken,
                  100.0 * all.held / fmax(1, all.taken), all.far);
    assert_true(all.held >= 0.95 * all.taken - 3 * sqrt(0.95 * 0.05 * all.taken));
    assert_true(all.far <= all.taken / 1000);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_sweep),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
