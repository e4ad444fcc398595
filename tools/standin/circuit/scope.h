/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * A scope with two inputs and an 8-bit converter. What the screen shows of v
 * volts at the terminals, in divisions from its middle:
 *
 *     (v - offset * (1 + offset error)) * (1 + gain error) / volts per division
 *         + position + baseline error
 *
 * Anything beyond the ends of the converter stays at its end codes. A record
 * is void as soon as the settings it was taken with change.
 *
 * One idea in two halves; the other half is feed.h, what reaches its inputs.
 */
#ifndef STANDIN_SCOPE_H
#define STANDIN_SCOPE_H

#include "circuit.h"

#include <gsl/gsl_rng.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

enum { SCOPE_INPUTS = 2, SCOPE_STEPS = 13, SCOPE_POINTS = 128 * 1024 * 1024 };

enum scope_coupling { SCOPE_DC, SCOPE_AC, SCOPE_GROUND };

struct scope_type {
    size_t step_count;
    double steps[SCOPE_STEPS]; /* volts per division, ascending */
    int lowest;                /* end codes; these mean clipped */
    int highest;
    int middle; /* code at mid screen */
    double codes_per_division;
    double gain;   /* bound on the gain error, a fraction of the deflection */
    double offset; /* bound on the offset error, a fraction of the offset */
    double baseline;
    double input_resistance;
    double resistance_tolerance;
    double ac_corner;      /* hertz */
    size_t default_points; /* and the time of one record at power-on */
    double default_time;
};

struct scope_input {
    size_t step;     /* index into the type's steps */
    double offset;   /* volts at mid screen */
    double position; /* divisions that the zero trace is moved up */
    enum scope_coupling coupling;
    bool ground_dead; /* its ground coupling leaves the signal on */
    bool variable;    /* the variable control is off its stop; its scale is then wrong */
    double gain_error[SCOPE_STEPS];
    double baseline[SCOPE_STEPS]; /* divisions */
    double offset_error;          /* a fraction */
    double input_resistance;
    bool recorded; /* the record is there and of these settings */
    int16_t *codes;
};

/* What the next record waits for, and, while it does, since when. */
struct scope_trigger {
    size_t source; /* the input, from 1; 0: nothing, a start begins the record */
    bool rising;
    double level; /* volts at the terminals, as coupled */
    double share; /* of the record that lies before it, 0 to 1 */
    bool armed;
    double armed_at; /* seconds since the bench started */
    double start;    /* where the waveforms were then, seconds */
    double looked;   /* when it was looked at last */
    double searched; /* when it is to be looked at next; nothing had come before */
    bool was_beyond; /* the level had been passed by then */
};

struct scope {
    const struct scope_type *type;
    struct scope_trigger trigger;
    struct scope_input inputs[SCOPE_INPUTS];
    size_t points;   /* of the next record */
    double time;     /* from the first to the last sample of the next record */
    int real_bits;   /* records are sent as volts of so many bits; 0: as codes */
    size_t recorded; /* points of the last record */
    uint64_t relay_changes;
};

/* The two types of the bench. */
extern const struct scope_type scope_tarnwerk;
extern const struct scope_type scope_oldmere;

/* Makes a scope with errors drawn within `fraction` times the specification. */
void scope_init(struct scope *scope, const struct scope_type *type, gsl_rng *rng, double fraction);

/* Frees the records. */
void scope_clear(struct scope *scope);

/* The state at power-on: widest range, no offset, dc coupling, no record. */
void scope_reset(struct scope *scope);

/* The largest offset of either sign that a step allows, volts. */
double scope_offset_span(double volts_per_division);

/* Inputs count from 0. Each voids the record of that input; an offset is held in its span. */
void scope_set_step(struct scope *scope, size_t input, size_t step);
bool scope_set_offset(struct scope *scope, size_t input, double offset);
void scope_set_position(struct scope *scope, size_t input, double divisions);
void scope_set_coupling(struct scope *scope, size_t input, enum scope_coupling coupling);
void scope_set_variable(struct scope *scope, size_t input, bool variable);

/*
 * One knob of one input, or of the time base, drawn at random, is turned to a
 * place drawn at random. The records stay: they are on the screen.
 */
void scope_turn_knob(struct scope *scope, gsl_rng *rng);

/* Every knob as it stood in `before`; the records stay. */
void scope_turn_back(struct scope *scope, const struct scope *before);

/* Void both records. */
void scope_set_points(struct scope *scope, size_t points);
void scope_set_time(struct scope *scope, double time);

/* Volts per division of an input. */
double scope_volts_per_division(const struct scope *scope, size_t input);

/* The step equal to a number of volts per division, or the smallest that holds it. */
bool scope_step_equal(const struct scope_type *type, double volts, size_t *step);
bool scope_step_holding(const struct scope_type *type, double volts, size_t *step);

/* The code that an input shows for so many volts at its terminals. */
int scope_code(const struct scope *scope, size_t input, double volts);

/* The volts that an input's code stands for, as the scope has it. */
double scope_volts(const struct scope *scope, size_t input, int code);

/*
 * Takes one record of both inputs at a time; `ties` has SCOPE_INPUTS entries.
 * The waveforms start at a phase drawn at random: nothing triggers.
 */
void scope_acquire(struct scope *scope, const struct tie *ties, double now, gsl_rng *rng);

/* The same with its first sample at `first`, the waveforms `start` seconds after where they began. */
void scope_record(struct scope *scope, const struct tie *ties, double first, double start,
                  gsl_rng *rng);

/* Fills both records with the upper end code, as an overdriven input does. */
void scope_acquire_overload(struct scope *scope);

#endif
