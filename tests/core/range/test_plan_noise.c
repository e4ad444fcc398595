/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The planner on scopes whose noise is a matter of the range: of 8 to 12 bits, with noise from a
 * fraction of a converter step to several, and signals from microvolts to a full screen. Choosing
 * the finest setting that still shows the signal is common practice, no source. The physics is
 * written afresh and shares nothing with core/ but the tables.
 */
#include "core/range/plan.h"
#include "core/waveform/estimate.h"
#include "tests/core/bench_tables.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>

#include <cmocka.h>

enum { SCOPES = 1200, SAMPLES = 400, SEED = 20261130 };

/* White noise of so many samples hardly ever reaches further, in sigma; from memory. */
static const double noise_reach = 4.0;

/* A scope, and the sine at its input. */
struct scene {
    struct bench_table table;
    double noise[SCOPE_RANGES]; /* RMS, volts */
    double level;
    double amplitude;
    unsigned short state[3];
};

static double normal(struct scene *scene)
{
    double u = 1 - erand48(scene->state);
    return sqrt(-2 * log(u)) * cos(2 * M_PI * erand48(scene->state));
}

/* An even draw of a logarithm. */
static double between(struct scene *scene, double low, double high)
{
    return low * pow(high / low, erand48(scene->state));
}

/*
 * Noise of the same number of steps on all ranges, as an input stage behind its attenuator has it,
 * or of the widest only, where a second attenuator is switched in; and some volts of the circuit's own.
 */
static void draw(struct scene *scene, enum aspect aspect)
{
    scope_table(&scene->table);
    scene->table.chain.aspect = aspect;
    double bits = 8 + (double)(nrand48(scene->state) % 5);
    double steps = between(scene, 0.1, 8);
    size_t quiet = nrand48(scene->state) % 2 ? 0 : SCOPE_RANGES / 2;
    double circuit = between(scene, 1e-6, 1e-3);
    for (size_t i = 0; i < SCOPE_RANGES; i++) {
        struct range *range = &scene->table.ranges[i];
        range->resolution = range->full_scale / exp2(bits);
        scene->noise[i] = hypot((i < quiet ? 0.1 : steps) * range->resolution, circuit);
    }
    double size = between(scene, 3e-6, 28);
    scene->level = aspect == ASPECT_DC ? size : 0;
    scene->amplitude = aspect == ASPECT_DC ? 0 : size;
}

/* One record; false where it ran out of the window. */
static bool look(struct scene *scene, const struct setup *setup, struct signal *signal,
                 enum side *side)
{
    double samples[SAMPLES];
    const struct range *range = &scene->table.ranges[setup->range];
    double low, high;
    setup_window(&scene->table.input, setup, &low, &high);
    double phase = erand48(scene->state);
    bool over = false, under = false;
    for (size_t i = 0; i < SAMPLES; i++) {
        double volts = scene->level +
                       scene->amplitude * sin(2 * M_PI * (phase + 0.0257 * (double)i)) +
                       scene->noise[setup->range] * normal(scene);
        samples[i] = low + round((volts - low) / range->resolution) * range->resolution;
        over |= samples[i] > high - range->resolution / 2;
        under |= samples[i] < low + range->resolution / 2;
    }
    *side = over && under ? SIDE_UNKNOWN : over ? SIDE_HIGH : SIDE_LOW;
    if (over || under)
        return false;
    struct waveform waveform;
    struct series series = series_of_reals(samples, SAMPLES, 1e-6);
    assert_true(waveform_measure_series(&series, &waveform));
    struct estimate seen =
        estimate_aspect(&series, &waveform, scene->table.chain.aspect, range->resolution);
    *signal = (struct signal) {
        .value = seen.value,
        .mean = seen.mean,
        .low = waveform.minimum,
        .high = waveform.maximum,
        .noise = waveform.noise,
        .doubt = seen.doubt,
        .samples = SAMPLES,
        .frequency = waveform.frequency,
        .scatter = seen.scatter,
        .edges = seen.edges,
        .averaged = seen.averaged,
    };
    return true;
}

/* The finest range on which the signal and the noise of that range stand, the trace moved or not. */
static size_t finest(const struct scene *scene)
{
    for (size_t i = 0; i < SCOPE_RANGES; i++) {
        const struct range *range = &scene->table.ranges[i];
        double noise = noise_reach * scene->noise[i] + range->resolution;
        double room = range->high - range->low - range->resolution;
        bool moved = fabs(scene->level) + 2 * noise <= room;
        if (scene->amplitude + noise <= room / 2 && (scene->amplitude > 0 || moved))
            return i;
    }
    return SCOPE_RANGES - 1;
}

/* Runs a plan to its end; the number of acquisitions, and the setup that settled. */
static size_t settle(struct scene *scene, struct plan *plan, struct setup *setup,
                     struct signal *signal)
{
    enum plan_action action;
    enum side side;
    while ((action = plan_next(plan, setup, NULL)) == PLAN_ACQUIRE)
        if (look(scene, setup, signal, &side))
            plan_reading(plan, signal);
        else
            plan_overload(plan, side);
    assert_int_equal(action, PLAN_SETTLED);
    return plan->step_count;
}

/* Whether a range is left that is finer by two and better, by what is really seen there. */
static bool is_stuck(struct scene *scene, const struct setup *setup, const struct signal *signal)
{
    struct setup finer = { finest(scene) + 1, COUPLING_DC, 0, 0 };
    struct signal seen;
    enum side side;
    if (setup->range <= finer.range)
        return false;
    if (scene->amplitude == 0)
        finer.position = -scene->level / 2;
    return look(scene, &finer, &seen, &side) &&
           chain_uncertainty(&scene->table.chain, setup, signal) >
               1.02 * chain_uncertainty(&scene->table.chain, &finer, &seen);
}

static void sweep(enum aspect aspect, const char *name)
{
    struct scene scene = { .state = { SEED & 0xffff, (unsigned short)aspect, 3 } };
    size_t total = 0, again = 0, worst = 0, stuck = 0;
    for (size_t i = 0; i < SCOPES; i++) {
        struct plan plan;
        struct setup setup;
        struct signal signal;
        draw(&scene, aspect);
        plan_start(&plan, &scene.table.chain, NULL);
        size_t steps = settle(&scene, &plan, &setup, &signal);
        total += steps;
        worst = steps > worst ? steps : worst;
        stuck += is_stuck(&scene, &setup, &signal);
        plan_resume(&plan, &scene.table.chain, &setup, 0);
        again += settle(&scene, &plan, &setup, &signal);
    }
    print_message("seed %d, %s: of %d scopes %zu stuck on a range that is too wide; %.2f "
                  "acquisitions on average, %zu at most, %.2f of a point that is known\n",
                  SEED, name, SCOPES, stuck, (double)total / SCOPES, worst, (double)again / SCOPES);
    assert_int_equal(stuck, 0);
}

static void test_noise_belongs_to_its_range(void **state)
{
    (void)state;
    sweep(ASPECT_DC, "dc");
    sweep(ASPECT_AC, "ac");
    sweep(ASPECT_RMS, "rms");
    sweep(ASPECT_PEAK_TO_PEAK, "peak-to-peak");
    sweep(ASPECT_MAXIMUM, "maximum");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_noise_belongs_to_its_range),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
