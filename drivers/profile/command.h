/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Filling in a profile's command texts: "{name}" becomes the value of that
 * name. Profiles are checked against the same list of names when they are read.
 */
#ifndef GRADUS_DRIVERS_COMMAND_H
#define GRADUS_DRIVERS_COMMAND_H

#include "core/basics/failure.h"

#include <stdbool.h>
#include <stddef.h>

enum { COMMAND_SIZE = 512 };

/* What a command text may speak of; a name that has no value here is NAN. */
struct command_values {
    double range;      /* full scale of a meter's range */
    double input;      /* from 1 */
    double full_scale; /* of a scope's screen, volts */
    double volts_per_division;
    double offset;         /* volts at the middle of the screen */
    double position;       /* divisions the zero trace is moved up */
    double position_volts; /* the same in volts */
    double duration;       /* seconds a record lasts */
    double interval;       /* seconds from sample to sample */
    double time_per_division;
    double points;
    double trigger_level;     /* volts at the input */
    double trigger_divisions; /* the same from the middle of the screen */
    double before;            /* seconds of the record that lie before the trigger */
    double before_divisions;
    double before_share; /* of the record's duration, 0 to 1 */
};

/* All NAN. */
struct command_values command_values_none(void);

/*
 * Writes `text` with its placeholders filled in. Numbers are written in the C
 * locale, see command_number(). Fails with
 * FAILURE_SETTINGS on an unknown name, a name without a value, an open brace
 * or too long a result.
 */
bool command_fill(const char *text, const struct command_values *values, char *filled, size_t size,
                  struct failure *failure);

/*
 * Writes a number as an instrument takes it: a whole number below 1e9 as
 * digits, any other with the fewest digits that give it back to 1 part in
 * 1e12, at most 12. Returns text.
 */
char *command_number(char *text, size_t size, double number);

#endif
