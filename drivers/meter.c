/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A meter: connect the channel, enter the function, select the range, read one number. */
#include "instrument_priv.h"
#include "response.h"

#include <math.h>
#include <string.h>

/* What a meter's answer says: a number, or that there is too much for the range. */
struct measured {
    const struct answer *answer;
    double number;
    bool overload;
    enum side side;
};

static bool read_standard(const struct reply *reply, struct measured *measured,
                          struct failure *failure)
{
    enum number_special special;
    if (!response_number(reply->bytes, reply->count, &measured->number, &special, failure))
        return false;
    measured->overload = special != SPECIAL_NONE;
    return true;
}

static bool read_pattern(const struct reply *reply, struct measured *measured,
                         struct failure *failure)
{
    const struct answer *answer = measured->answer;
    regmatch_t groups[2];
    if (answer->has_overload && regexec(&answer->overload, reply->bytes, 0, NULL, 0) == 0) {
        measured->overload = true;
        return true;
    }
    if (regexec(&answer->pattern, reply->bytes, 2, groups, 0) != 0 || groups[1].rm_so < 0)
        return failure_set(failure, FAILURE_UNEXPECTED_REPLY, NULL,
                           "an answer of the form the profile gives", "%.64s", reply->bytes);
    size_t length = (size_t)(groups[1].rm_eo - groups[1].rm_so);
    const char *text = reply->bytes + groups[1].rm_so;
    if (!decimal_parse(text, length, &measured->number))
        return failure_set(failure, FAILURE_UNEXPECTED_REPLY, NULL, "a decimal number", "%.*s",
                           (int)(length < 64 ? length : 64), text);
    measured->overload = number_classify(measured->number) != SPECIAL_NONE;
    return true;
}

static bool read_answer(const struct reply *reply, void *out, struct failure *failure)
{
    struct measured *measured = out;
    measured->overload = false;
    measured->side = SIDE_UNKNOWN;
    if (measured->answer->has_pattern)
        return read_pattern(reply, measured, failure);
    if (measured->answer->has_overload &&
        regexec(&measured->answer->overload, reply->bytes, 0, NULL, 0) == 0) {
        measured->overload = true;
        return true;
    }
    return read_standard(reply, measured, failure);
}

static bool read_text(const struct reply *reply, void *out, struct failure *failure)
{
    const char *expected = out;
    if (strlen(expected) == reply->count && memcmp(expected, reply->bytes, reply->count) == 0)
        return true;
    return failure_set(failure, FAILURE_UNEXPECTED_REPLY, NULL, expected, "%.64s", reply->bytes);
}

/* Connects the channel, and asks whether it is connected where the instrument can say. */
static bool set_route(struct instrument *instrument, const struct request *request,
                      const struct command_values *values, bool *changed, struct deadline deadline,
                      struct failure *failure)
{
    const struct profile *profile = instrument->profile;
    bool moved = false;
    (void)request;
    if (!instrument_set(instrument, 1, SLOT_ROUTE, profile->route, values, &moved, deadline,
                        failure))
        return false;
    *changed |= moved;
    if (!moved || !profile->route_query[0])
        return true;
    char expected[COMMAND_SIZE];
    if (command_fill(profile->route_answer, values, expected, sizeof expected, failure) &&
        dialogue_query(instrument->dialogue, profile->route_query, 0, read_text, expected, deadline,
                       failure))
        return true;
    instrument_forget(instrument, 1, SLOT_ROUTE);
    return false;
}

/* Entering a function may change the range behind our back, so the range is then sent anew. */
static bool set_function(struct instrument *instrument, const struct function *function,
                         const struct command_values *values, bool *changed,
                         struct deadline deadline, struct failure *failure)
{
    bool entered = false;
    if (!instrument_set_all(instrument, 1, SLOT_FUNCTION, &function->select, values, &entered,
                            deadline, failure))
        return false;
    if (entered)
        instrument_forget(instrument, 1, SLOT_RANGE);
    *changed |= entered;
    return true;
}

static bool set_range(struct instrument *instrument, const struct function *function, size_t index,
                      const struct command_values *values, bool *changed, struct deadline deadline,
                      struct failure *failure)
{
    const char *text = function->range_selects.count ? function->range_selects.texts[index]
                                                     : function->range_command;
    bool sent = false;
    if (!instrument_set(instrument, 1, SLOT_RANGE, text, values, &sent, deadline, failure))
        return false;
    *changed |= sent;
    if (!sent || !function->range_check.query[0] ||
        instrument_check(instrument, &function->range_check, values, values->range,
                         FAILURE_UNEXPECTED_REPLY, "range that was set", deadline, failure))
        return true;
    instrument_forget(instrument, 1, SLOT_RANGE);
    return false;
}

static bool set_up(struct instrument *instrument, const struct function *function,
                   const struct request *request, struct deadline deadline, struct failure *failure)
{
    bool changed = false;
    struct command_values values = command_values_none();
    values.range = function->front_end.ranges[request->setup.range].full_scale;
    values.input = request->input;
    return set_route(instrument, request, &values, &changed, deadline, failure) &&
           set_function(instrument, function, &values, &changed, deadline, failure) &&
           set_range(instrument, function, request->setup.range, &values, &changed, deadline,
                     failure) &&
           (!changed || instrument_settle(instrument, function->settle_ms, deadline, failure));
}

bool meter_acquire(struct instrument *instrument, const struct request *request,
                   struct deadline deadline, struct acquisition *acquisition,
                   struct failure *failure)
{
    const struct function *function = profile_function(instrument->profile, request->quantity);
    if (!function)
        return failure_set(failure, FAILURE_UNSUPPORTED, instrument->name, NULL,
                           "no function for %s", quantity_name(request->quantity));
    if (!set_up(instrument, function, request, deadline, failure)) {
        dialogue_suspect(instrument->dialogue);
        return false;
    }
    struct measured measured = { .answer = &function->answer };
    if (!dialogue_query(instrument->dialogue, function->read, function->conversion_ms, read_answer,
                        &measured, deadline, failure))
        return false;
    acquisition->overload = measured.overload;
    acquisition->side = measured.side;
    struct signal signal = {
        measured.number, measured.number, measured.number, measured.number, 0, 0, 1, NAN
    };
    acquisition->signal = signal;
    return true;
}
