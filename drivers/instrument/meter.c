/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "meter.h"

#include "drivers/cfg/pattern.h"
#include "drivers/dialogue/response.h"

#include <math.h>
#include <string.h>

/* For so long a proof of the settings holds. */
static const int64_t proof_valid_ns = INT64_C(1000000000);

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
    const char *text;
    size_t length;
    if (!pattern_number(&answer->pattern, reply->bytes, reply->count, &text, &length))
        return failure_set(failure, FAILURE_UNEXPECTED_REPLY, NULL,
                           "an answer of the form the profile gives", "'%.64s'", reply->bytes);
    if (!decimal_parse(text, length, &measured->number))
        return failure_set(failure, FAILURE_UNEXPECTED_REPLY, NULL, "a decimal number", "'%.*s'",
                           (int)(length < 64 ? length : 64), text);
    measured->overload = number_classify(measured->number) != SPECIAL_NONE;
    return true;
}

static bool read_answer(const struct reply *reply, void *out, struct failure *failure)
{
    struct measured *measured = out;
    measured->overload = false;
    measured->side = SIDE_UNKNOWN;
    if (measured->answer->has_overload &&
        pattern_whole(&measured->answer->overload, reply->bytes, reply->count)) {
        measured->overload = true;
        return true;
    }
    return measured->answer->has_pattern ? read_pattern(reply, measured, failure)
                                         : read_standard(reply, measured, failure);
}

static bool read_text(const struct reply *reply, void *out, struct failure *failure)
{
    const char *expected = out;
    if (strlen(expected) == reply->count && memcmp(expected, reply->bytes, reply->count) == 0)
        return true;
    return failure_set(failure, FAILURE_UNEXPECTED_REPLY, NULL, expected, "'%.64s'", reply->bytes);
}

/* Asks which channel is connected, where the instrument can say. */
static bool prove_route(struct panel *panel, const struct profile *profile,
                        const struct command_values *values, struct deadline deadline,
                        struct failure *failure)
{
    char expected[COMMAND_SIZE];
    return !profile->route_query[0] ||
           (command_fill(profile->route_answer, values, expected, sizeof expected, failure) &&
            dialogue_query(panel->dialogue, profile->route_query, 0, read_text, expected, deadline,
                           failure));
}

/*
 * Asks the instrument whether channel, function and range are those that were
 * set: after each change, and again when that was some time ago, since
 * somebody may have pressed a key and a bare number does not say what it is of.
 */
static bool prove(struct panel *panel, const struct profile *profile,
                  const struct function *function, const struct command_values *values,
                  struct deadline deadline, struct failure *failure)
{
    if (!prove_route(panel, profile, values, deadline, failure))
        return false;
    if (!panel_check(panel, &function->select_check, values, NAN, FAILURE_UNEXPECTED_REPLY,
                     "function that was entered", deadline, failure))
        return false;
    if (!panel_check(panel, &function->range_check, values, values->range, FAILURE_UNEXPECTED_REPLY,
                     "range that was set", deadline, failure))
        return false;
    panel->proved = monotonic_now();
    return true;
}

/* Entering a function may change the range behind our back, so the range is then sent anew. */
static bool set_function(struct panel *panel, const struct function *function,
                         const struct command_values *values, bool *changed,
                         struct deadline deadline, struct failure *failure)
{
    bool entered = false;
    if (!panel_set_all(panel, 1, SLOT_FUNCTION, &function->select, values, &entered, deadline,
                       failure))
        return false;
    if (entered)
        panel_forget(panel, 1, SLOT_RANGE);
    *changed |= entered;
    return true;
}

static bool set_up(struct panel *panel, const struct profile *profile,
                   const struct function *function, const struct request *request,
                   struct deadline deadline, struct failure *failure)
{
    size_t index = request->setup.range;
    bool changed = false;
    struct command_values values = command_values_none();
    values.range = function->front_end.ranges[index].full_scale;
    values.input = request->input;
    const char *range = function->range_selects.count ? function->range_selects.texts[index]
                                                      : function->range_command;
    if (!panel_set(panel, 1, SLOT_ROUTE, profile->route, &values, &changed, deadline, failure) ||
        !set_function(panel, function, &values, &changed, deadline, failure) ||
        !panel_set(panel, 1, SLOT_RANGE, range, &values, &changed, deadline, failure))
        return false;
    if (changed && !panel_settle(panel, function->settle_ms, deadline, failure))
        return false;
    if (!changed && monotonic_now() - panel->proved < proof_valid_ns)
        return true;
    return prove(panel, profile, function, &values, deadline, failure);
}

bool meter_acquire(struct panel *panel, const struct profile *profile,
                   const struct request *request, struct deadline deadline,
                   struct acquisition *acquisition, struct failure *failure)
{
    const struct function *function = profile_function(profile, request->quantity);
    if (!function)
        return failure_set(failure, FAILURE_UNSUPPORTED, panel->name, NULL, "no function for %s",
                           quantity_name(request->quantity));
    if (!set_up(panel, profile, function, request, deadline, failure)) {
        dialogue_suspect(panel->dialogue);
        return false;
    }
    struct measured measured = { .answer = &function->answer };
    if (!dialogue_read(panel->dialogue, function->read, function->conversion_ms, read_answer,
                       &measured, deadline, failure))
        return false;
    acquisition->overload = measured.overload;
    acquisition->side = measured.side;
    struct signal signal = signal_level(measured.number);
    acquisition->signal = signal;
    return true;
}
