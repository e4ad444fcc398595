/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * What stands at a test point: an open-circuit voltage (or a current) as a
 * function of time behind a source resistance, or a plain resistance.
 *
 *     x(t) = level + drift * (t - set_at) + steps + fault(t) + waveform(t) + noise
 *
 * A fault comes once in every `fault_every` seconds, at a moment of them that is drawn: the level is
 * another one for `fault_width`, `fault_burst` times with as long between.
 *
 * Times are seconds since the bench started.
 */
#ifndef STANDIN_SOURCE_H
#define STANDIN_SOURCE_H

#include "tools/standin/basics/problem.h"
#include "wave.h"

#include <stdbool.h>
#include <stddef.h>

enum { SOURCE_STEPS = 16, SOURCE_NAME = 48 };

enum source_kind { SOURCE_DC, SOURCE_SINE, SOURCE_SQUARE, SOURCE_RIPPLE, SOURCE_RESISTANCE };

enum source_unit { SOURCE_VOLTS, SOURCE_AMPERES };

/* `after` seconds from when the source was set, the level changes by `change`. */
struct source_step {
    double after;
    double change;
};

struct source {
    char name[SOURCE_NAME];
    enum source_kind kind;
    enum source_unit unit;
    double level;             /* dc level; of a square: not used */
    double amplitude;         /* sine: peak */
    double low;               /* square */
    double high;              /* square */
    double ripple;            /* ripple: peak to peak */
    bool ripple_is_sine;      /* ripple: sine, else triangle */
    double frequency;         /* hertz */
    double duty;              /* square: 0 to 1 */
    double rise;              /* square: 10 % to 90 % time of both edges, seconds */
    double overshoot;         /* square: of both edges, of its height */
    double tail;              /* square: seconds from there back to the level */
    double delay;             /* seconds that the waveform is behind others of its frequency */
    double source_resistance; /* ohm, of a voltage source */
    double resistance;        /* kind resistance: ohm */
    double noise;             /* Gaussian RMS, fast: a dc meter averages most of it away */
    double wander;            /* Gaussian RMS, slow: one value for each reading or record */
    double drift;             /* units per second */
    double tolerance;         /* the true size lies within this fraction of the nominal one */
    double error;             /* the one drawn: the true size is 1 + error times the nominal */
    double set_at;            /* when the source was last set */
    double fault_every;       /* seconds; 0: none comes */
    double fault_width;       /* seconds */
    double fault_change;      /* of the level */
    double fault_burst;       /* how often each comes; 1 unless told */
    size_t step_count;
    struct source_step steps[SOURCE_STEPS];
    struct wave wave; /* made by source_prepare() */
};

/* The true unloaded values at the tip; `ac` and `rms` have the noise in them, extremes not. */
struct truth {
    double dc;
    double ac;
    double rms;
    double maximum;
    double minimum;
    double peak_to_peak;
    double frequency; /* 0: none */
    double noise;
};

/* A source of one kind with nothing else set: 0 V, 0 ohm, duty one half. */
struct source source_default(enum source_kind kind);

/*
 * Checks the fields, draws nothing, and makes the waveform. `draw` in -1 ... 1
 * says where in its tolerance the source lies. False with the problem told
 * when a field is out of bounds.
 */
bool source_prepare(struct source *source, double draw, struct problem *problem);

/* The level at a time: everything but waveform, noise and wander. */
double source_level(const struct source *source, double now);

/* When, after a time, a fault begins or ends next; INFINITY where none comes. */
double source_next_edge(const struct source *source, double now);

/* How many faults have begun by a time, each of a burst counted. */
double source_faults(const struct source *source, double now);

/* The true values at a time. */
struct truth source_truth(const struct source *source, double now);

/* Whether nothing drives the point, so that its resistance can be measured. */
bool source_is_passive(const struct source *source);

#endif
