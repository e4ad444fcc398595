/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "scope_proof.h"

#include "scope_trigger.h"

#include <math.h>
#include <string.h>

/* Numbers that are sent come back to this: fewer digits, or single precision. */
static const double number_share = 1e-6;

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

/* A setting that is read back as a number, what it was set to and may differ by. */
struct number {
    const char *what;
    const struct check *check;
    double set;
    double tolerance;
    double unit; /* of the number in that of `told` */
    double *told;
};

static bool add_number(struct proof *proof, const struct number *number,
                       const struct command_values *values, struct failure *failure)
{
    struct proof_item *item;
    if (!proof_add(proof, number->what, number->check->query, values, &item, failure))
        return false;
    if (item != NULL) {
        item->way = PROOF_BY_NUMBER;
        item->number = number->set;
        item->tolerance = number->tolerance + number_share * fabs(number->set);
        item->unit = number->unit;
        item->told = number->told;
    }
    return true;
}

static bool add_numbers(struct proof *proof, const struct scope *scope, const struct setup *setup,
                        const struct command_values *values, struct setup *told,
                        struct failure *failure)
{
    double step = scope->front_end.ranges[setup->range].resolution / 2;
    bool height = strstr(scope->vertical, "{full_scale}") != NULL;
    bool volts = strstr(scope->position, "{position_volts}") != NULL;
    double scale = volts ? 1 : values->volts_per_division;
    const struct number numbers[] = {
        { "vertical scale is not what was set", &scope->vertical_check,
          height ? values->full_scale : values->volts_per_division, 0, 1, NULL },
        { "time base is not what was set", &scope->timebase_check, timebase_set(scope, values), 0,
          1, NULL },
        { "offset is not what was set", &scope->offset_check, values->offset, step, 1,
          &told->offset },
        { "position is not what was set", &scope->position_check,
          volts ? values->position_volts : values->position, step / scale, scale, &told->position },
    };
    for (size_t i = 0; i < sizeof numbers / sizeof *numbers; i++)
        if (!add_number(proof, &numbers[i], values, failure))
            return false;
    return true;
}

bool scope_proof_make(struct proof *proof, const struct profile *profile,
                      const struct request *request, const struct command_values *values,
                      struct setup *told, struct failure *failure)
{
    const struct setup *setup = &request->setup;
    const struct scope *scope = &profile->scope;
    *told = *setup;
    if (!proof_add_touch(proof, &profile->touch, values, failure) ||
        !proof_add_check(proof, "the variable control is off its calibrated position",
                         FAILURE_NOT_CALIBRATED, &scope->calibrated, values, failure) ||
        !proof_add_check(proof, "coupling is not what was set", FAILURE_CHANGED,
                         &scope->coupling_checks[setup->coupling], values, failure))
        return false;
    for (size_t i = 0; i < scope->besides_count; i++)
        if (!proof_add_check(proof, "a setting that records rest on is not as the profile wants it",
                             FAILURE_CHANGED, &scope->besides[i], values, failure))
            return false;
    return add_numbers(proof, scope, setup, values, told, failure) &&
           trigger_prove(proof, profile, request->trigger, setup, values, failure);
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
