/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What a profile that was read says of an instrument. */
#include "profile.h"

const char *const profile_quantities[] = {
#define X(name, text, aspect, dimension, source) text,
    QUANTITY_TABLE(X)
#undef X
        NULL
};

const struct function *profile_function(const struct profile *profile, enum quantity quantity)
{
    for (size_t i = 0; i < profile->function_count; i++)
        if (profile->functions[i].quantity == quantity)
            return &profile->functions[i];
    return NULL;
}

const struct front_end *profile_front_end(const struct profile *profile, enum quantity quantity)
{
    if (profile->kind == PROFILE_SCOPE)
        return quantity_dimension(quantity) == DIMENSION_VOLTAGE ? &profile->scope.front_end : NULL;
    const struct function *function = profile_function(profile, quantity);
    return function != NULL ? &function->front_end : NULL;
}

bool profile_triggers(const struct profile *profile)
{
    return profile->kind == PROFILE_SCOPE && profile->scope.trigger.set.count > 0;
}

int profile_inputs(const struct profile *profile)
{
    return profile->inputs;
}

size_t scope_record(const struct scope *scope, double wanted)
{
    size_t i = 0;

    while (i + 1 < scope->duration_count && !(scope->durations[i] >= wanted * (1.0 - 1e-9)))
        i++;
    return i;
}

/* Samples are as far apart as the record that is set for the one that is wanted makes them. */
static void read_record(const struct scope *scope, double record, struct abilities *abilities)
{
    abilities->record = scope->durations[scope_record(scope, record)];
    abilities->interval = abilities->record / (double)scope->points;
}

struct abilities profile_abilities(const struct profile *profile, enum quantity quantity,
                                   double record)
{
    const struct function *function = profile_function(profile, quantity);
    struct abilities abilities = abilities_unknown();

    if (profile->kind == PROFILE_SCOPE) {
        abilities.response = RESPONSE_SAMPLES;
        abilities.bandwidth = profile->scope.bandwidth;
        read_record(&profile->scope, record, &abilities);
    } else if (function != NULL) {
        abilities.response = function->response;
        abilities.low_frequency = function->low_frequency;
        abilities.high_frequency = function->high_frequency;
        abilities.crest_count = function->crest_error_count;
        for (size_t i = 0; i < function->crest_error_count; i++)
            abilities.crest_errors[i] = function->crest_errors[i];
    }
    return abilities;
}
