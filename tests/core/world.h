/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * A simulated world for the tests of coverage: instruments, probe and circuit
 * whose errors are drawn evenly within their specifications, measured as the
 * daemon does it. The physics is written afresh and shares nothing with core/
 * but the tables of specifications. Include after cmocka.h.
 */
#ifndef GRADUS_TESTS_WORLD_H
#define GRADUS_TESTS_WORLD_H

#include "bench_tables.h"
#include "core/range/plan.h"
#include "core/reading.h"

#include <stdbool.h>
#include <stddef.h>

enum { WORLD_RECORD = 400, WORLD_MOST = 1000, WORLD_REPEATS = 16 };

/* One period of a signal that reaches from -1 to 1. */
struct world_wave {
    double (*at)(double turn); /* from 0 to 1 */
    double mean;
    double square; /* mean of its square */
};

extern const struct world_wave world_sine, world_square, world_triangle, world_sawtooth;

/* A sine with 1 % of its third harmonic; pulses that are up for a fifth of the period. */
extern const struct world_wave world_bent, world_pulse, world_slow_pulse;

/* A sine with 1 % of its third and 0.3 % of its fifth harmonic; pulses that are up for 1 % and
 * 99 % of the period; a square that rings. */
extern const struct world_wave world_harmonics, world_narrow, world_wide, world_ringing;

/* The world as it is, unknown to the measurement. Begin with a seed in `state` and zeros. */
struct world {
    unsigned short state[3];
    double truth;                  /* of the aspect, unloaded, at the tip */
    double mean;                   /* of the signal at the input, loaded, behind the real probe */
    double amplitude;              /* of a wave on the mean, at the input */
    const struct world_wave *wave; /* NULL: a sine */
    double noise;                  /* RMS, at the input */
    double frequency;
    double phase;                  /* of the record that was taken last */
    double gain[CHAIN_MAX_RANGES]; /* share of the specification, -1 to 1 */
    double offset[CHAIN_MAX_RANGES];
    double baseline[CHAIN_MAX_RANGES]; /* divisions */
    double dac;                        /* share of the offset specification */
    double spread;                     /* of a meter from reading to reading, RMS */
    size_t record;                     /* samples of a scope, at most WORLD_MOST */
    bool known;                        /* begin with `last`, as with a point seen before */
    struct setup last;
    double beyond;
    bool whole; /* accuracy: one share of the whole bound, not one of each of its parts */
};

/* An even draw between -1 and 1. */
double world_even(struct world *world);

/* Draws the errors of all ranges, each evenly within its specification. */
void world_instrument(struct world *world, const struct bench_table *table);

/* A source, a probe and a load, all within their tolerances; returns input over unloaded tip. */
double world_circuit(struct world *world, struct bench_table *table, bool scope);

/* The aspect of the wave on the mean, at the input. */
double world_value(const struct world *world, enum aspect aspect);

/*
 * One record in this setup (or one meter reading) into `samples`, world->record of them, of the
 * signal or of the input at ground. False, saying to which side, when it ran out of the window.
 */
bool world_samples(struct world *world, const struct bench_table *table, const struct setup *setup,
                   bool grounded, double *samples, enum side *side);

/* What a scope's driver makes of a record, as the daemon has it. `step` is the converter's. */
void world_describe(const double *samples, size_t count, enum aspect aspect, double step,
                    struct signal *signal);

/* Takes the zero trace out, as the daemon does. */
void world_subtract_ground(struct world *world, const struct bench_table *table,
                           const struct setup *setup, struct signal *signal);

/* Plans, acquires and evaluates, from cold. False when there is no reading. */
bool world_measure(struct world *world, const struct bench_table *table, size_t repeats,
                   const struct limits *limits, struct reading *reading);

#endif
