/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "scope_trigger.h"

#include "drivers/cfg/pattern.h"

#include <math.h>
#include <poll.h>
#include <string.h>

/* How long to leave an instrument in peace between two questions whether the trigger came. */
enum { STATE_POLL_MS = 5 };

/* What is left of the deadline for ending a wait. */
static const double last_words_ms = 500;

/* Shares and times that are sent come back to this, relative to the whole record. */
static const double position_share = 1e-3;

void trigger_fill(const struct trigger *trigger, const struct scope *scope,
                  const struct setup *setup, struct command_values *values)
{
    if (trigger == NULL)
        return;
    double centre = setup->offset - setup->position;
    values->trigger_level = trigger->level;
    values->trigger_divisions = (trigger->level - centre) / values->volts_per_division;
    values->before = trigger->before;
    values->before_share = trigger->before / values->duration;
    values->before_divisions = values->before_share * scope->time_divisions;
}

bool trigger_set(struct panel *panel, const struct scope *scope, const struct trigger *trigger,
                 const struct command_values *values, bool *changed, struct deadline deadline,
                 struct failure *failure)
{
    const struct trigger_words *words = &scope->trigger;
    if (words->set.count == 0)
        return true;
    if (trigger == NULL) {
        panel_forget(panel, 1, SLOT_SLOPE);
        return panel_set_all(panel, 1, SLOT_TRIGGER, &words->off, values, changed, deadline,
                             failure);
    }
    return panel_set_all(panel, 1, SLOT_TRIGGER, &words->set, values, changed, deadline, failure) &&
           panel_set(panel, 1, SLOT_SLOPE, trigger->rising ? words->rising : words->falling, values,
                     changed, deadline, failure);
}

/* Whether one of the texts that arm it holds a placeholder. */
static bool says(const struct trigger_words *words, const char *place)
{
    for (size_t i = 0; i < words->set.count; i++)
        if (strstr(words->set.texts[i], place) != NULL)
            return true;
    return strstr(words->rising, place) != NULL;
}

static bool add_source(struct proof *proof, const struct trigger_words *words,
                       const struct command_values *values, struct failure *failure)
{
    struct proof_item *item;
    if (!proof_add(proof, "trigger source is not what was set", words->source_query, values, &item,
                   failure))
        return false;
    if (item != NULL)
        item->way = PROOF_BY_TEXT;
    return item == NULL ||
           command_fill(words->source_answer, values, item->text, sizeof item->text, failure);
}

static bool add_number(struct proof *proof, const char *what, const struct check *check,
                       const double number[2], const struct command_values *values,
                       struct failure *failure)
{
    struct proof_item *item;
    if (!proof_add(proof, what, check->query, values, &item, failure))
        return false;
    item->way = PROOF_BY_NUMBER;
    item->number = number[0];
    item->tolerance = number[1] + 1e-6 * fabs(number[0]);
    return true;
}

static bool add_numbers(struct proof *proof, const struct scope *scope, double step,
                        const struct command_values *values, struct failure *failure)
{
    const struct trigger_words *words = &scope->trigger;
    bool volts = says(words, "{trigger_level}");
    const double level[2] = { volts ? values->trigger_level : values->trigger_divisions,
                              volts ? step : step / values->volts_per_division };
    double before = says(words, "{before}")         ? values->before
                    : says(words, "{before_share}") ? values->before_share
                                                    : values->before_divisions;
    double whole = says(words, "{before}")         ? values->duration
                   : says(words, "{before_share}") ? 1
                                                   : scope->time_divisions;
    const double position[2] = { before, position_share * whole };
    return add_number(proof, "trigger level is not what was set", &words->level, level, values,
                      failure) &&
           add_number(proof, "what lies before the trigger is not what was set", &words->position,
                      position, values, failure);
}

bool trigger_prove(struct proof *proof, const struct profile *profile,
                   const struct trigger *trigger, const struct setup *setup,
                   const struct command_values *values, struct failure *failure)
{
    const struct trigger_words *words = &profile->scope.trigger;
    if (trigger == NULL)
        return true;
    if (words->set.count == 0)
        return failure_set(failure, FAILURE_UNSUPPORTED, proof->name,
                           "a profile with a \"trigger\"",
                           "its profile does not say how it is triggered");
    for (size_t i = 0; i < words->check_count; i++)
        if (!proof_add_check(proof, "a setting that the trigger rests on is another one",
                             FAILURE_CHANGED, &words->checks[i], values, failure))
            return false;
    return add_source(proof, words, values, failure) &&
           proof_add_check(proof, "trigger slope is not what was set", FAILURE_CHANGED,
                           &words->slopes[trigger->rising], values, failure) &&
           add_numbers(proof, &profile->scope,
                       profile->scope.front_end.ranges[setup->range].resolution, values, failure);
}

/* What the scope said of itself. */
struct state {
    const struct trigger_words *words;
    bool waiting;
    bool done;
};

static bool read_state(const struct reply *reply, void *out, struct failure *failure)
{
    (void)failure;
    struct state *state = out;
    state->waiting = pattern_whole(&state->words->waiting.pattern, reply->bytes, reply->count);
    state->done = pattern_whole(&state->words->done.pattern, reply->bytes, reply->count);
    return true;
}

/* Ends the wait at the scope; the link's own trouble comes before that nothing came. */
static bool give_up(struct panel *panel, const struct scope *scope, double waited_ms,
                    struct failure *failure)
{
    const struct commands *abort = &scope->trigger.abort;
    struct deadline own = deadline_in(scope->acquire_ms + 1000);
    for (size_t i = 0; i < abort->count; i++)
        if (!dialogue_command(panel->dialogue, abort->texts[i], own, failure))
            return false;
    return dialogue_check_errors(panel->dialogue, own, failure) &&
           failure_set(failure, FAILURE_NO_TRIGGER, panel->name, NULL, "nothing came within %.4g s",
                       waited_ms / 1000);
}

static bool is_unwanted(const struct trigger *trigger)
{
    return trigger->ends != NULL && trigger->ends(trigger->context);
}

/* Notes that at a moment before which it was asked it was still waiting. */
static void note_waiting(struct trigger *trigger, struct moment asked)
{
    struct moment now = monotonic_now();
    if (trigger->armed.ns == 0)
        trigger->armed = moment_plus(now, duration_of_seconds(trigger->before));
    if (moment_before(trigger->armed, asked))
        trigger->until = asked;
}

bool trigger_wait(struct panel *panel, const struct scope *scope, struct trigger *trigger,
                  double patience_ms, struct deadline deadline, struct failure *failure)
{
    struct state state = { .words = &scope->trigger };
    struct deadline early = { moment_plus(deadline.at, duration_of_ms(-last_words_ms)) };
    struct deadline wait = deadline_sooner(deadline_in(trigger->wait_ms), early), record = deadline;
    struct moment begun = monotonic_now();
    bool came = false;
    trigger->armed = trigger->until = (struct moment) { 0 };
    for (;;) {
        struct moment asked = monotonic_now();
        if (!dialogue_ask(panel->dialogue, scope->trigger.waiting.query, 0, read_state, &state,
                          deadline, failure))
            return false;
        if (state.done)
            return true;
        if (state.waiting)
            note_waiting(trigger, asked);
        else if (!came)
            record = deadline_sooner(deadline, deadline_in(patience_ms));
        came = !state.waiting;
        if (state.waiting && (deadline_passed(wait) || is_unwanted(trigger)))
            return give_up(panel, scope, duration_ms(moment_since(monotonic_now(), begun)),
                           failure);
        if (came && deadline_passed(record)) {
            dialogue_suspect(panel->dialogue);
            return failure_set(failure, FAILURE_TIMEOUT, panel->name, NULL,
                               "the record did not finish within %g ms of its trigger",
                               patience_ms);
        }
        poll(NULL, 0, STATE_POLL_MS);
    }
}
