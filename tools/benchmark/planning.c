/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "planning.h"

#include "core/range/plan.h"
#include "drivers/profile/profile.h"
#include "stream.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>

enum { SIGNALS = 20000, SHIFTS = 20, SEED = 7 };

static struct chain chain_for(const struct front_end *input, const struct probe *probe)
{
    struct chain chain = { .input = input,
                           .probe = probe,
                           .aspect = ASPECT_DC,
                           .source = { .resistance = NAN },
                           .ambient = 23,
                           .crest_factor = NAN,
                           .lowest_frequency = NAN,
                           .frequency = NAN,
                           .abilities = abilities_unknown() };
    return chain;
}

static struct signal level(double value)
{
    struct signal signal = signal_level(value);
    return signal;
}

/* What an ideal instrument shows of a dc level in a setup; false: off the screen. */
static bool shown(const struct front_end *input, const struct setup *setup, double value,
                  double *reading)
{
    double low, high;
    setup_window(input, setup, &low, &high);
    double step = input->ranges[setup->range].resolution;
    double centre = (low + high) / 2;
    *reading = centre + round((value - centre) / step) * step;
    double margin = input->vertical ? step / 2 : -step / 2;
    return *reading<high - margin && * reading> low + margin;
}

static size_t jump(const struct chain *chain, double value, double *standard)
{
    struct plan plan;
    struct setup setup;
    double reading;
    plan_start(&plan, chain, NULL);
    while (plan_next(&plan, &setup, NULL) == PLAN_ACQUIRE) {
        if (shown(chain->input, &setup, value, &reading)) {
            struct signal signal = level(reading);
            plan_reading(&plan, &signal);
        } else {
            plan_overload(&plan, !chain->input->vertical ? SIDE_UNKNOWN
                                 : value > 0             ? SIDE_HIGH
                                                         : SIDE_LOW);
        }
    }
    struct signal signal = level(value);
    *standard = chain_uncertainty(chain, &setup, &signal);
    return plan.step_count;
}

/* From the top down, a step at a time, until the next finer range would overload. */
static size_t walk(const struct chain *chain, double value)
{
    size_t steps = 0;
    double reading;
    for (size_t i = chain->input->count; i-- > 0;) {
        struct setup setup = { i, COUPLING_DC, 0, 0 };
        steps++;
        if (!shown(chain->input, &setup, value, &reading))
            break;
        if (i > 0 && fabs(reading) > chain->input->ranges[i - 1].high)
            break;
    }
    return steps;
}

/* A range with its offset or its trace moved by a share of half the screen. */
static struct setup shifted(const struct front_end *input, size_t i, double value, double share)
{
    const struct range *range = &input->ranges[i];
    double move = share * range->high;
    struct setup setup = { i, COUPLING_DC, 0, 0 };
    if (range->offset_span > 0)
        setup.offset = fmin(range->offset_span, value + move);
    else if (input->position_divisions > 0)
        setup.position = move;
    return setup;
}

static double brute_force(const struct chain *chain, double value)
{
    double best = INFINITY, reading;
    struct signal signal = level(value);
    for (size_t i = 0; i < chain->input->count; i++)
        for (int shift = -SHIFTS; shift <= SHIFTS; shift++) {
            struct setup setup = shifted(chain->input, i, value, (double)shift / SHIFTS);
            if (shown(chain->input, &setup, value, &reading))
                best = fmin(best, chain_uncertainty(chain, &setup, &signal));
        }
    return best;
}

static void compare(const char *name, const struct chain *chain)
{
    unsigned short state[3] = { SEED, 0, 0 };
    const struct range *top = &chain->input->ranges[chain->input->count - 1];
    double jumped = 0, walked = 0, ratio = 0;
    for (size_t i = 0; i < SIGNALS; i++) {
        double value = 1e-3 * pow(0.99 * top->high / 1e-3, erand48(state));
        double standard;
        jumped += (double)jump(chain, value, &standard);
        walked += (double)walk(chain, value);
        ratio += standard / brute_force(chain, value);
    }
    printf("%s: acquisitions to settle, walking over jumping: %.2f (%.2f over %.2f)\n", name,
           walked / jumped, walked / SIGNALS, jumped / SIGNALS);
    printf("%s: uncertainty of the range chosen over brute force: %.4f\n", name, ratio / SIGNALS);
}

void benchmark_planning(const char *path)
{
    struct problems problems = { 0 };
    struct profile *profile = profile_load(path, &problems);
    if (!profile)
        give_up("%s: not a profile", path);
    struct probe probe = probe_direct();
    const struct front_end *input = profile_front_end(profile, QUANTITY_DC_VOLTAGE);
    struct chain chain = chain_for(input, &probe);
    compare(profile->name, &chain);
    profile_free(profile);
    problems_free(&problems);
}
