/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "rack_priv.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { GRID = 8192 };

/* Of the ringing: depth, time constant and period, in periods of the square. */
static const double ring_depth = 0.25, ring_decay = 0.05, ring_period = 0.09;

/* Corner of the scope's ac coupling, hertz. */
static const double corner = 10;

double rack_even(struct rack *rack, double low, double high)
{
    return low + (high - low) * erand48(rack->state);
}

double rack_normal(struct rack *rack)
{
    double u = 1 - erand48(rack->state);
    return sqrt(-2 * log(u)) * cos(2 * M_PI * erand48(rack->state));
}

static double ringing(double turn, double duty)
{
    double since = turn < duty ? turn : turn - duty;
    double level = 1 + ring_depth * exp(-since / ring_decay) * sin(2 * M_PI * since / ring_period);
    return turn < duty ? level : -level;
}

static double at_turn(const struct rack_signal *signal, double turn)
{
    switch (signal->shape) {
    case RACK_SINE:
        return sin(2 * M_PI * turn);
    case RACK_SQUARE:
        return turn < signal->duty ? 1 : -1;
    case RACK_TRIANGLE:
        return 1 - 4 * fabs(turn - 0.5);
    case RACK_SAWTOOTH:
        return 2 * turn - 1;
    case RACK_DECAY:
        return 2 * exp(-turn / (0.05 + 0.4 * signal->duty)) - 1;
    case RACK_RINGING:
        return ringing(turn, 0.5);
    case RACK_RECTIFIED:
        return 2 * fabs(sin(M_PI * turn)) - 1;
    default:
        return 0;
    }
}

double rack_at(const struct rack_signal *signal, double seconds)
{
    double turn = seconds * signal->frequency;
    return at_turn(signal, turn - floor(turn));
}

/* By sums over one period; a square's edge is where it is, within one place of the grid. */
double rack_truth(const struct rack_signal *signal, enum rack_aspect aspect)
{
    double sum = 0, squares = 0, high = -INFINITY, low = INFINITY;
    for (int i = 0; i < GRID; i++) {
        double x = at_turn(signal, (i + 0.5) / GRID);
        sum += x / GRID;
        squares += x * x / GRID;
        high = fmax(high, x);
        low = fmin(low, x);
    }
    if (signal->shape == RACK_SQUARE) {
        sum = 2 * signal->duty - 1;
        squares = 1;
    }
    if (signal->shape == RACK_DECAY)
        low = at_turn(signal, 1), high = 1;
    if (signal->shape == RACK_SAWTOOTH || signal->shape == RACK_TRIANGLE)
        low = -1, high = 1;
    double mean = signal->level + signal->amplitude * sum;
    double alternating = signal->amplitude * sqrt(fmax(0, squares - sum * sum));
    switch (aspect) {
    case RACK_AC:
        return alternating;
    case RACK_RMS:
        return hypot(mean, alternating);
    case RACK_PEAKS:
        return signal->amplitude * (high - low);
    case RACK_HIGH:
        return signal->level + signal->amplitude * high;
    case RACK_LOW:
        return signal->level + signal->amplitude * low;
    default:
        return mean;
    }
}

/* What a first-order high-pass makes of one period that repeats: its value at each place of a grid. */
static void couple(const struct rack_signal *signal, double out[GRID + 1])
{
    double mean = rack_truth(signal, RACK_MEAN) - signal->level;
    double step = 1 / (signal->frequency * GRID), kept = exp(-2 * M_PI * corner * step);
    double last = signal->amplitude * at_turn(signal, 0) - mean, all = 1;
    out[0] = 0;
    for (int i = 1; i <= GRID; i++) {
        double turn = (double)i / GRID;
        double now = signal->amplitude * at_turn(signal, turn - floor(turn)) - mean;
        out[i] = kept * out[i - 1] + sqrt(kept) * (now - last);
        last = now;
        all *= kept;
    }
    double begin = out[GRID] / (1 - all), more = begin;
    for (int i = 0; i <= GRID; i++) {
        out[i] += more;
        more *= kept;
    }
}

/* At the tip, as the input sees it behind source and divider. */
static double share(const struct rack *rack, bool scope)
{
    double load = scope ? rack->tip : rack->meter.resistance;
    return load / (rack->source + load) / (scope ? rack->divider : 1);
}

static size_t scale_of(const struct rack_scope *scope)
{
    size_t i = 0;
    while (i + 1 < scope->count && scope->scales[i] < scope->scale * 0.999)
        i++;
    return i;
}

/* What comes to the converter, at a time: the signal behind the coupling. */
static double coupled(const struct rack *rack, const double *filtered, double seconds)
{
    const struct rack_signal *signal = &rack->signal;
    if (strcmp(rack->scope.coupling, "GND") == 0)
        return 0;
    if (strcmp(rack->scope.coupling, "AC") != 0)
        return signal->level + signal->amplitude * rack_at(signal, seconds);
    double turn = seconds * signal->frequency;
    double place = (turn - floor(turn)) * GRID;
    int i = (int)place;
    double later = at_turn(signal, place / GRID) - at_turn(signal, (double)i / GRID);
    return filtered[i] + signal->amplitude * later;
}

void rack_record(struct rack *rack, int codes[RACK_SAMPLES])
{
    static __thread double filtered[GRID + 1];
    const struct rack_scope *scope = &rack->scope;
    size_t range = scale_of(scope);
    double per_division = exp2(scope->bits) / 8, most = exp2(scope->bits - 1);
    double begin = rack_even(rack, 0, 1 / rack->signal.frequency);
    if (strcmp(scope->coupling, "AC") == 0)
        couple(&rack->signal, filtered);
    for (size_t i = 0; i < scope->points; i++) {
        double seconds = begin + (double)i * scope->span / (double)scope->points;
        double noise = strcmp(scope->coupling, "GND") == 0 ? 0 : rack->signal.noise;
        double volts =
            (coupled(rack, filtered, seconds) + noise * rack_normal(rack)) * share(rack, true);
        double offset = scope->offset * (1 + scope->offset_error * scope->offset_off);
        double divisions =
            (volts - offset) / scope->scale * (1 + scope->gain * scope->gains[range]) +
            scope->baseline * scope->baselines[range] + scope->position;
        codes[i] = (int)fmin(most - 1, fmax(-most, round(divisions * per_division)));
    }
}

double rack_shown(struct rack *rack)
{
    const struct rack_meter *meter = &rack->meter;
    int function = meter->function;
    size_t range = 0;
    while (range + 1 < meter->count && meter->full_scales[range] < meter->full_scale * 0.999)
        range++;
    double full = meter->full_scales[range], step = full / meter->digits;
    double value = rack_truth(&rack->signal, function ? RACK_AC : RACK_MEAN) * share(rack, false);
    double shown = value * (1 + meter->reading[function] * meter->readings[function][range]) +
                   full * meter->range[function] * meter->ranges[function][range];
    shown = step * round(shown / step);
    if (function && shown < 0)
        shown = 0;
    return fabs(shown) > full * 1.0000001 ? INFINITY : shown;
}
