/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * A meter: functions with ranges, each range with its own gain and offset
 * error and input resistance drawn within the specification, and a card of
 * relays that ties one of its inputs to the terminals.
 */
#ifndef STANDIN_METER_H
#define STANDIN_METER_H

#include "circuit.h"

#include <gsl/gsl_rng.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

enum { METER_RANGES = 6, METER_INPUTS = 16 };

enum meter_function {
    METER_DC_VOLTAGE,
    METER_AC_VOLTAGE,
    METER_DC_CURRENT,
    METER_RESISTANCE,
    METER_FREQUENCY,
    METER_FOUR_WIRE, /* resistance that the leads are no part of */
    METER_FUNCTIONS
};

/* One range. The specification is gain (of the reading) plus offset (absolute). */
struct meter_range {
    double full_scale;
    double count;                /* one count of the display */
    double gain;                 /* bound, a fraction of the reading */
    double offset;               /* bound, in the unit of the function, counts included */
    double input_resistance;     /* ohm; of no meaning for current and resistance */
    double resistance_tolerance; /* bound, a fraction */
};

struct meter_function_type {
    size_t count;
    struct meter_range ranges[METER_RANGES]; /* ascending */
};

struct meter_type {
    bool average_responding; /* else true RMS */
    double crest;            /* ac: peaks beyond this times full scale are overload */
    struct meter_function_type functions[METER_FUNCTIONS];
};

/* What one range of one instrument really does. */
struct meter_error {
    double gain;
    double offset;
    double input_resistance;
};

struct meter {
    const struct meter_type *type;
    enum meter_function function;
    size_t range[METER_FUNCTIONS];
    bool automatic; /* it chooses its range itself */
    int input;      /* 1 to METER_INPUTS; 0: all relays open */
    struct meter_error errors[METER_FUNCTIONS][METER_RANGES];
    uint64_t relay_changes;
};

struct meter_reading {
    bool overload;
    double value; /* of no meaning when overloaded */
};

/* The two types of the bench. */
extern const struct meter_type meter_tarnwerk;
extern const struct meter_type meter_oldmere;

/*
 * Makes a meter: the errors are drawn uniformly within `fraction` times the
 * specification (0: an ideal meter, but for its counts).
 */
void meter_init(struct meter *meter, const struct meter_type *type, gsl_rng *rng, double fraction);

/* The state at power-on: dc voltage, widest ranges, no input selected. */
void meter_reset(struct meter *meter);

/* Each returns false, changing nothing, when there is no such function, range or input. */
bool meter_select_function(struct meter *meter, enum meter_function function);
bool meter_select_range(struct meter *meter, enum meter_function function, size_t range);
bool meter_select_input(struct meter *meter, int input);

/* The smallest range that holds a value; false when none does. */
bool meter_range_holding(const struct meter *meter, enum meter_function function, double value,
                         size_t *range);

/* The range in use. */
const struct meter_range *meter_range(const struct meter *meter);

/* One reading of what is tied to the terminals (tie->source NULL: nothing), at a time. */
struct meter_reading meter_read(const struct meter *meter, const struct tie *tie, double now,
                                gsl_rng *rng);

#endif
