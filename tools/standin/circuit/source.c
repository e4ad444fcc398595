/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "source.h"

#include <math.h>

struct source source_default(enum source_kind kind)
{
    return (struct source) { .kind = kind, .duty = 0.5, .wave = wave_none() };
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
    return true;
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
