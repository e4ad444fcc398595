/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "meter.h"

#include "drivers/cfg/pattern.h"
#include "drivers/dialogue/response.h"
#include "proof.h"

#include <math.h>
#include <string.h>

/* What a meter's answer says: a number, or that there is too much for the range. */
struct measured {
    const struct answer *answer;
    const char *shows; /* form of the number in the range that was set; empty: not known */
    bool other;        /* the number has another form: another range */
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

/* Whether digits and point of a number are where a form has them; a form without digits before
 * the point says nothing of those. */
static bool has_form(const char *text, size_t length, const char *form)
{
    if (length > 0 && (text[0] == '+' || text[0] == '-')) {
        text++;
        length--;
    }
    const char *point = memchr(text, '.', length);
    if (form[0] == '.' && point) {
        length -= (size_t)(point - text);
        text = point;
    }
    if (strlen(form) != length)
        return false;
    for (size_t i = 0; i < length; i++)
        if ((form[i] == '.') != (text[i] == '.'))
            return false;
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
    measured->other = measured->shows[0] != '\0' && !has_form(text, length, measured->shows);
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

static struct command_values values_of(const struct function *function,
                                       const struct request *request)
{
    struct command_values values = command_values_none();
    values.range = function->front_end.ranges[request->setup.range].full_scale;
    values.input = request->input;
    return values;
}

static bool set_up(struct panel *panel, const struct profile *profile,
                   const struct function *function, const struct request *request,
                   struct deadline deadline, struct failure *failure)
{
    bool changed = false;
    struct command_values values = values_of(function, request);
    const char *range = function->range_selects.count
                            ? function->range_selects.texts[request->setup.range]
                            : function->range_command;
    if (!panel_set(panel, 1, SLOT_ROUTE, profile->route, &values, &changed, deadline, failure) ||
        !set_function(panel, function, &values, &changed, deadline, failure) ||
        !panel_set(panel, 1, SLOT_RANGE, range, &values, &changed, deadline, failure))
        return false;
    if (!changed)
        return true;
    panel->proved = 0;
    return panel_settle(panel, function->settle_ms, deadline, failure);
}

/* How far a range that is read back may be from the one that was sent. */
static const double range_tolerance = 1e-6;

/* Which input, which function, in which range, and that it leaves the range alone. */
static bool make_proof(struct proof *proof, const struct profile *profile,
                       const struct function *function, const struct command_values *values,
                       struct failure *failure)
{
    struct proof_item *route, *range;
    if (!proof_add_touch(proof, &profile->touch, values, failure) ||
        !proof_add(proof, "input that was connected", profile->route_query, values, &route,
                   failure) ||
        !proof_add_check(proof, "function that was entered", FAILURE_CHANGED,
                         &function->select_check, values, failure) ||
        !proof_add_check(proof, "range that stays as it is set", FAILURE_CHANGED,
                         &function->auto_check, values, failure) ||
        !proof_add(proof, "range that was set", function->range_check.query, values, &range,
                   failure))
        return false;
    if (range != NULL) {
        range->way = PROOF_BY_NUMBER;
        range->number = values->range;
        range->tolerance = range_tolerance * values->range;
    }
    if (route == NULL)
        return true;
    route->way = PROOF_BY_TEXT;
    return command_fill(profile->route_answer, values, route->text, sizeof route->text, failure);
}

/* Reads with the proof before and behind, in one message or in several; a locked panel once. */
static bool read_proved(struct panel *panel, const struct profile *profile,
                        const struct function *function, struct proof *proof,
                        struct measured *measured, struct deadline deadline,
                        struct failure *failure)
{
    struct dialogue *dialogue = panel->dialogue;
    const struct question question = { function->read, read_answer, measured };
    bool asks = !profile->locks_panel || panel->proved == 0;
    if (asks && proof->together)
        return proof_read(proof, true, &question, function->conversion_ms, dialogue, deadline,
                          failure);
    return (!asks || proof_ask(proof, false, dialogue, deadline, failure)) &&
           dialogue_read(dialogue, function->read, function->conversion_ms, read_answer, measured,
                         deadline, failure) &&
           (!asks || proof_ask(proof, true, dialogue, deadline, failure));
}

/* One reading in the setup asked for; FAILURE_CHANGED when it was made in another one. */
static bool take(struct panel *panel, const struct profile *profile,
                 const struct function *function, const struct request *request,
                 struct measured *measured, struct deadline deadline, struct failure *failure)
{
    struct proof proof;
    struct command_values values = values_of(function, request);
    proof_begin(&proof, panel->name, profile->proof == PROOF_SAME_MESSAGE);
    if (!make_proof(&proof, profile, function, &values, failure))
        return false;
    if (!set_up(panel, profile, function, request, deadline, failure)) {
        dialogue_suspect(panel->dialogue);
        return false;
    }
    *measured = (struct measured) { .answer = &function->answer,
                                    .shows = function->shows[request->setup.range] };
    if (!read_proved(panel, profile, function, &proof, measured, deadline, failure))
        return false;
    panel->proved = request->input;
    return !measured->other || failure_set(failure, FAILURE_CHANGED, panel->name, measured->shows,
                                           "range that was set: the number is of another form");
}

bool meter_acquire(struct panel *panel, const struct profile *profile,
                   const struct request *request, struct deadline deadline,
                   struct acquisition *acquisition, struct failure *failure)
{
    const struct function *function = profile_function(profile, request->quantity);
    if (!function)
        return failure_set(failure, FAILURE_UNSUPPORTED, panel->name, NULL, "no function for %s",
                           quantity_name(request->quantity));
    struct measured measured;
    struct failure own = { 0 };
    if (!take(panel, profile, function, request, &measured, deadline, &own)) {
        /* Somebody set it otherwise: the next reading sets it afresh. */
        if (own.code == FAILURE_CHANGED)
            panel_clear(panel);
        return failure_set(failure, own.code, own.where, own.expected, "%s", own.what);
    }
    acquisition->overload = measured.overload;
    acquisition->side = measured.side;
    acquisition->signal = signal_level(measured.number);
    return true;
}
