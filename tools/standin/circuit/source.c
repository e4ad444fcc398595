/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "source.h"

#include <math.h>

/* Of the seconds in which a fault comes once, it takes no more than this share. */
#define FAULT_SHARE 0.2

struct source source_default(enum source_kind kind)
{
    return (struct source) { .kind = kind, .duty = 0.5, .fault_burst = 1.0, .wave = wave_none() };
}

static bool periodic(const struct source *source)
{
    return source->kind == SOURCE_SINE || source->kind == SOURCE_SQUARE ||
           source->kind == SOURCE_RIPPLE;
}

static bool check(const struct source *source, struct problem *problem)
{
    if (periodic(source) && !(source->frequency > 0.0 && source->frequency <= 1e9))
        return problem_tell(problem, "frequency %g is not in 0 ... 1e9 Hz", source->frequency);
    if (source->amplitude < 0.0 || source->ripple < 0.0)
        return problem_tell(problem, "amplitude and ripple must not be negative");
    if (source->noise < 0.0 || source->wander < 0.0)
        return problem_tell(problem, "noise and wander must not be negative");
    if (source->source_resistance < 0.0 || source->resistance < 0.0)
        return problem_tell(problem, "a resistance must not be negative");
    if (source->unit == SOURCE_AMPERES && source->source_resistance > 0.0)
        return problem_tell(problem, "a current source is ideal: it has no source_resistance");
    if (source->tolerance < 0.0 || source->tolerance >= 1.0)
        return problem_tell(problem, "tolerance %g is not in 0 ... 1", source->tolerance);
    if (source->fault_every < 0.0 || source->fault_width < 0.0 ||
        !(source->fault_burst >= 1.0 && source->fault_burst <= 1000.0) ||
        2.0 * source->fault_burst * source->fault_width > FAULT_SHARE * source->fault_every)
        return problem_tell(problem, "a fault of fault_width, fault_burst times, must fit into a "
                                     "fifth of fault_every");
    return true;
}

/* Where a fault begins: in this share of its turn, so that it ends within it. */
static double fault_begins(const struct source *source, double turn)
{
    /* The fractional part of multiples of the golden section, squared up by a second one. */
    double drawn = fmod(turn * 0.6180339887498949 + turn * turn * 0.7548776662466927, 1.0);

    return (turn + 0.1 + (1.0 - FAULT_SHARE - 0.1) * drawn) * source->fault_every;
}

/* The turn of a fault that an age lies in. */
static double fault_turn(const struct source *source, double age)
{
    return floor(age / source->fault_every);
}

static bool fault_there(const struct source *source, double age)
{
    if (source->fault_every <= 0.0 || age < 0.0)
        return false;
    double into = age - fault_begins(source, fault_turn(source, age));
    return into >= 0.0 && into < 2.0 * source->fault_burst * source->fault_width &&
           fmod(into, 2.0 * source->fault_width) < source->fault_width;
}

double source_next_edge(const struct source *source, double now)
{
    double age = fmax(now - source->set_at, 0.0);

    if (source->fault_every <= 0.0)
        return INFINITY;
    for (double turn = fault_turn(source, age);; turn++) {
        double begins = fault_begins(source, turn);
        double edges = 2.0 * source->fault_burst - 1.0;
        double passed = fmax(floor((age - begins) / source->fault_width) + 1.0, 0.0);

        if (passed <= edges)
            return source->set_at + begins + passed * source->fault_width;
    }
}

double source_faults(const struct source *source, double now)
{
    double age = now - source->set_at;

    if (source->fault_every <= 0.0 || age < 0.0)
        return 0.0;
    double turn = fault_turn(source, age), into = age - fault_begins(source, turn);
    double begun = into < 0.0 ? 0.0 : floor(into / (2.0 * source->fault_width)) + 1.0;
    return turn * source->fault_burst + fmin(begun, source->fault_burst);
}

bool source_prepare(struct source *source, double draw, struct problem *problem)
{
    double size = 1.0 + source->tolerance * draw;

    if (!check(source, problem))
        return false;
    source->error = source->tolerance * draw;
    source->wave = wave_none();
    if (source->kind == SOURCE_SINE) {
        source->wave = wave_sine(source->amplitude * size, source->frequency);
    } else if (source->kind == SOURCE_RIPPLE && source->ripple_is_sine) {
        source->wave = wave_sine(source->ripple / 2.0, source->frequency);
    } else if (source->kind == SOURCE_RIPPLE) {
        source->wave = wave_triangle(source->ripple / 2.0, source->frequency);
    } else if (source->kind == SOURCE_SQUARE &&
               !(wave_pulse(source->low * size, source->high * size, source->frequency,
                            source->duty, source->rise, &source->wave) &&
                 (source->overshoot == 0.0 ||
                  wave_shoot_over(&source->wave, source->overshoot, source->tail)))) {
        return problem_tell(problem, "duty %g with rise %g s does not fit into a period of %g s",
                            source->duty, source->rise, 1.0 / source->frequency);
    }
    return true;
}

double source_level(const struct source *source, double now)
{
    double age = now - source->set_at;
    double level = source->level * (1.0 + source->error) + source->drift * age;

    for (size_t i = 0; i < source->step_count; i++)
        if (age >= source->steps[i].after)
            level += source->steps[i].change;
    if (fault_there(source, age))
        level += source->fault_change;
    return level;
}

struct truth source_truth(const struct source *source, double now)
{
    double level = source_level(source, now);
    struct truth truth = { .dc = level + wave_mean(&source->wave), .noise = source->noise };

    truth.ac = hypot(wave_ac_rms(&source->wave), source->noise);
    truth.rms = hypot(truth.dc, truth.ac);
    truth.maximum = level + wave_maximum(&source->wave);
    truth.minimum = level + wave_minimum(&source->wave);
    truth.peak_to_peak = truth.maximum - truth.minimum;
    truth.frequency = truth.peak_to_peak > 0.0 ? source->wave.frequency : 0.0;
    return truth;
}

bool source_is_passive(const struct source *source)
{
    return source->kind == SOURCE_RESISTANCE;
}
