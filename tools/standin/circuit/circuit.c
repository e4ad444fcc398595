/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "circuit.h"

#include <math.h>

struct probe probe_wire(void)
{
    return (struct probe) { .factor = 1.0 };
}

bool probe_check(const struct probe *probe, const struct source *source, struct problem *problem)
{
    bool current = source->unit == SOURCE_AMPERES;

    if (probe->factor == 0.0 || probe->factor_error <= -1.0 || probe->factor_tolerance < 0.0)
        return problem_tell(problem, "factor must not be 0, its true value neither");
    if (probe->edge_ratio < 0.0 || (probe->edge_ratio > 0.0 && !(probe->edge_tau > 0.0)))
        return problem_tell(problem, "edge_ratio needs an edge_tau, both more than 0");
    if (probe->tip_capacitance < 0.0 || probe->bandwidth < 0.0 || probe->termination < 0.0)
        return problem_tell(problem, "capacitance, bandwidth, termination must not be negative");
    if (probe->tip_resistance < 0.0 || probe->load_resistance < 0.0 || probe->shunt < 0.0)
        return problem_tell(problem, "a resistance must not be negative");
    if ((probe->shunt > 0.0 || probe->clamp != 0.0) && !current) {
        return problem_tell(problem, "a shunt or clamp needs a source in amperes, %s is in volts",
                            source->name);
    }
    if (probe->shunt > 0.0 && probe->clamp != 0.0)
        return problem_tell(problem, "a probe is a shunt or a clamp, not both");
    if ((probe->shunt > 0.0 || probe->clamp != 0.0) && probe->factor != 1.0)
        return problem_tell(problem, "a shunt or clamp has no factor");
    if (probe->load_resistance > 0.0 && probe->load_resistance > probe->tip_resistance) {
        return problem_tell(problem,
                            "load_resistance is part of tip_resistance: %g is more than %g",
                            probe->load_resistance, probe->tip_resistance);
    }
    return true;
}

static double parallel(double a, double b)
{
    return a * b / (a + b);
}

/* Terminal volts per tip volt, and the load that the tip sees. */
static double divide(const struct probe *probe, double input, double *load)
{
    double division = 1.0 / (probe->factor * (1.0 + probe->factor_error));

    if (probe->load_resistance > 0.0) {
        double series = probe->tip_resistance - probe->load_resistance;
        double meant = probe->load_resistance / probe->tip_resistance;

        *load = series + input;
        return division * (input / *load) / meant;
    }
    *load = probe->tip_resistance > 0.0 ? probe->tip_resistance : input;
    return division;
}

/* The input with what was left on across it. */
static double terminated(const struct probe *probe, double input)
{
    return probe->termination > 0.0 ? parallel(probe->termination, input) : input;
}

/*
 * A source resistance Rs into R parallel C passes 1 / |1 + Rs/R + jwRsC|, against
 * 1 / (1 + Rs/R) of a level; the probe 1 / |1 + jf/B|.
 */
double circuit_sine_share(const struct tie *tie, double input_resistance)
{
    const struct probe *probe = &tie->probe;
    double frequency = tie->source->wave.frequency;
    double resistance = tie->source->source_resistance;
    double load;

    if (tie->source->wave.shape != WAVE_SINE)
        return 1.0;
    divide(probe, terminated(probe, input_resistance), &load);
    double level = 1.0 + resistance / load;
    double reactive = 2.0 * M_PI * frequency * resistance * probe->tip_capacitance;
    double share = level / hypot(level, reactive);
    return probe->bandwidth > 0.0 ? share / hypot(1.0, frequency / probe->bandwidth) : share;
}

double circuit_voltage_gain(const struct tie *tie, double input_resistance)
{
    const struct probe *probe = &tie->probe;
    double load;
    double division = divide(probe, terminated(probe, input_resistance), &load);

    if (probe->clamp != 0.0)
        return probe->clamp * (1.0 + probe->factor_error);
    if (probe->shunt > 0.0)
        return parallel(probe->shunt * (1.0 + probe->factor_error), input_resistance);
    if (tie->source->unit == SOURCE_AMPERES)
        return load * division;
    return load / (tie->source->source_resistance + load) * division;
}

double circuit_current_gain(const struct tie *tie)
{
    const struct probe *probe = &tie->probe;
    double scale = 1.0 + probe->factor_error;

    if (probe->clamp != 0.0)
        return probe->clamp * scale / CIRCUIT_BURDEN;
    if (probe->shunt > 0.0)
        return probe->shunt * scale / (probe->shunt * scale + CIRCUIT_BURDEN);
    if (tie->source->unit == SOURCE_AMPERES)
        return 1.0 / (probe->factor * scale);
    return 1.0 / (tie->source->source_resistance + probe->tip_resistance + CIRCUIT_BURDEN);
}
