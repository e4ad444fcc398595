/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "scope_proof.h"

#include <math.h>
#include <string.h>

/* Numbers that are sent come back to this: fewer digits, or single precision. */
static const double number_share = 1e-6;

/* What is read back as a number, and what it may differ by. */
struct number {
    const struct check *check;
    const char *what;
    double set;
    double tolerance;
};

static bool commands_hold(const struct commands *commands, const char *place)
{
    for (size_t i = 0; i < commands->count; i++)
        if (strstr(commands->texts[i], place))
            return true;
    return false;
}

static double timebase_set(const struct scope *scope, const struct command_values *values)
{
    return commands_hold(&scope->timebase, "{time_per_division}") ? values->time_per_division
           : commands_hold(&scope->timebase, "{duration}")        ? values->duration
                                                                  : values->interval;
}

static bool prove_number(struct panel *panel, const struct number *number,
                         const struct command_values *values, struct deadline deadline,
                         double *told, struct failure *failure)
{
    *told = number->set;
    if (!number->check->query[0])
        return true;
    if (!panel_ask(panel, number->check->query, values, told, deadline, failure))
        return false;
    if (fabs(*told - number->set) <= number->tolerance + number_share * fabs(number->set))
        return true;
    char expected[32];
    return failure_set(failure, FAILURE_CHANGED, panel->name,
                       command_number(expected, sizeof expected, number->set),
                       "%s is %g and not what was set", number->what, *told);
}

static bool prove_numbers(struct panel *panel, const struct scope *scope, const struct setup *setup,
                          const struct command_values *values, struct deadline deadline,
                          struct setup *told, struct failure *failure)
{
    double step = scope->front_end.ranges[setup->range].resolution / 2;
    bool height = strstr(scope->vertical, "{full_scale}") != NULL;
    bool volts = strstr(scope->position, "{position_volts}") != NULL;
    double scale = volts ? 1 : values->volts_per_division;
    double ignored, offset, position;
    const struct number numbers[] = {
        { &scope->vertical_check, "vertical scale",
          height ? values->full_scale : values->volts_per_division, 0 },
        { &scope->timebase_check, "time base", timebase_set(scope, values), 0 },
        { &scope->offset_check, "offset", values->offset, step },
        { &scope->position_check, "position", volts ? values->position_volts : values->position,
          step / scale },
    };
    if (!prove_number(panel, &numbers[0], values, deadline, &ignored, failure) ||
        !prove_number(panel, &numbers[1], values, deadline, &ignored, failure) ||
        !prove_number(panel, &numbers[2], values, deadline, &offset, failure) ||
        !prove_number(panel, &numbers[3], values, deadline, &position, failure))
        return false;
    *told = *setup;
    if (scope->offset_check.query[0])
        told->offset = offset;
    if (scope->position_check.query[0])
        told->position = position * scale;
    return true;
}

bool scope_prove(struct panel *panel, const struct scope *scope, const struct setup *setup,
                 const struct command_values *values, struct deadline deadline, struct setup *told,
                 struct failure *failure)
{
    if (!panel_check(panel, &scope->calibrated, values, NAN, FAILURE_NOT_CALIBRATED,
                     "the variable control is off its calibrated position", deadline, failure) ||
        !panel_check(panel, &scope->coupling_checks[setup->coupling], values, NAN, FAILURE_CHANGED,
                     "coupling is not what was set", deadline, failure))
        return false;
    for (size_t i = 0; i < scope->besides_count; i++)
        if (!panel_check(panel, &scope->besides[i], values, NAN, FAILURE_CHANGED,
                         "a setting that records rest on is not as the profile wants it", deadline,
                         failure))
            return false;
    return prove_numbers(panel, scope, setup, values, deadline, told, failure);
}

bool scope_proves_zero(const struct scope *scope)
{
    return !scope->cannot_tell[SCOPE_VERTICAL] && !scope->cannot_tell[SCOPE_OFFSET] &&
           !scope->cannot_tell[SCOPE_POSITION] && !scope->cannot_tell[SCOPE_COUPLING];
}

void scope_forget_unproved(struct panel *panel, const struct scope *scope, int input)
{
    static const enum slot slots[] = {
        [SCOPE_VERTICAL] = SLOT_VERTICAL, [SCOPE_OFFSET] = SLOT_OFFSET,
        [SCOPE_POSITION] = SLOT_POSITION, [SCOPE_COUPLING] = SLOT_COUPLING,
        [SCOPE_TIMEBASE] = SLOT_TIMEBASE,
    };
    for (size_t i = 0; i < SCOPE_SETTINGS; i++)
        if (scope->cannot_tell[i])
            panel_forget(panel, i == SCOPE_TIMEBASE ? 1 : input, slots[i]);
}
