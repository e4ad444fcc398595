/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "proof.h"

#include "drivers/cfg/pattern.h"
#include "drivers/dialogue/response.h"

#include <assert.h>
#include <math.h>
#include <stdio.h>
#include <string.h>

/*
 * A scope's: what the profile names besides, variable control, coupling, four numbers, touch; of a
 * trigger what it names besides, source, slope, level, position.
 */
_Static_assert(PROOF_ITEMS >= PROFILE_MAX_BESIDES + 7 + PROFILE_MAX_TRIGGER_CHECKS + 4,
               "all that a profile can ask has room");

void proof_begin(struct proof *proof, const char *name, bool together)
{
    proof->name = name;
    proof->together = together;
    proof->count = 0;
    proof->touched[0] = '\0';
    failure_clear(&proof->found);
}

bool proof_add(struct proof *proof, const char *what, const char *query,
               const struct command_values *values, struct proof_item **item,
               struct failure *failure)
{
    *item = NULL;
    if (query[0] == '\0')
        return true;
    assert(proof->count < PROOF_ITEMS);
    *item = &proof->items[proof->count++];
    **item = (struct proof_item) { .what = what, .otherwise = FAILURE_CHANGED, .number = NAN };
    return command_fill(query, values, (*item)->query, sizeof(*item)->query, failure);
}

bool proof_add_check(struct proof *proof, const char *what, enum failure_code otherwise,
                     const struct check *check, const struct command_values *values,
                     struct failure *failure)
{
    struct proof_item *item;
    if (!proof_add(proof, what, check->query, values, &item, failure))
        return false;
    if (item != NULL) {
        item->otherwise = otherwise;
        item->pattern = &check->pattern;
    }
    return true;
}

bool proof_add_touch(struct proof *proof, const struct touch *touch,
                     const struct command_values *values, struct failure *failure)
{
    struct proof_item *item;
    if (!proof_add(proof, "somebody was at the panel meanwhile", touch->query, values, &item,
                   failure))
        return false;
    if (item != NULL) {
        item->way = PROOF_BY_TOUCH;
        item->touch = touch;
    }
    return true;
}

static bool is_number(const struct proof_item *item, const char *answer)
{
    double value;
    enum number_special special;
    if (!response_number(answer, strlen(answer), &value, &special, NULL) ||
        special != SPECIAL_NONE || !(fabs(value - item->number) <= item->tolerance))
        return false;
    if (item->told != NULL)
        *item->told = value * item->unit;
    return true;
}

/* Whether none of the bits of an event register is set that a touched panel sets. */
static bool is_untouched(const struct touch *touch, const char *answer)
{
    double value;
    enum number_special special;
    return response_number(answer, strlen(answer), &value, &special, NULL) && value >= 0 &&
           value <= TOUCH_MASK_MAX && value == rint(value) && ((int)value & touch->mask) == 0;
}

/*
 * An event register is cleared when it is read, so what it says before is of
 * earlier; a counter must stand behind where it stood before.
 */
static bool agrees_on_touch(const struct proof_side *side, const char *answer)
{
    struct proof *proof = side->proof;
    if (!side->behind) {
        snprintf(proof->touched, sizeof proof->touched, "%s", answer);
        return true;
    }
    return side->item->touch->mask != 0 ? is_untouched(side->item->touch, answer)
                                        : strcmp(proof->touched, answer) == 0;
}

static bool agrees(const struct proof_side *side, const char *answer)
{
    const struct proof_item *item = side->item;
    switch (item->way) {
    case PROOF_BY_PATTERN:
        return pattern_whole(item->pattern, answer, strlen(answer));
    case PROOF_BY_TEXT:
        return strcmp(item->text, answer) == 0;
    case PROOF_BY_NUMBER:
        return is_number(item, answer);
    default:
        return agrees_on_touch(side, answer);
    }
}

/* Notes an answer that is not the one that the setup must give. */
static void judge(const struct proof_side *side, const char *answer)
{
    const struct proof_item *item = side->item;
    char expected[32] = "";
    if (agrees(side, answer))
        return;
    if (item->way == PROOF_BY_NUMBER)
        command_number(expected, sizeof expected, item->number);
    else if (item->way == PROOF_BY_TEXT)
        snprintf(expected, sizeof expected, "%.31s", item->text);
    failure_set(&side->proof->found, item->otherwise, side->proof->name,
                expected[0] != '\0' ? expected : NULL, "%s: %s answered %.64s", item->what,
                item->query, answer);
}

/* The reply_reader of one answer; `out` is a struct proof_side. */
static bool read_answer(const struct reply *reply, void *out, struct failure *failure)
{
    if (reply->count >= PROOF_ANSWER || memchr(reply->bytes, '\0', reply->count))
        return failure_set(failure, FAILURE_UNEXPECTED_REPLY, NULL, "a short line of text",
                           "%zu bytes", reply->count);
    judge(out, reply->bytes);
    return true;
}

void proof_questions(struct proof *proof, bool behind, struct question *questions)
{
    for (size_t i = 0; i < proof->count; i++) {
        struct proof_side *side = &proof->sides[behind ? PROOF_ITEMS + i : i];
        *side = (struct proof_side) { proof, &proof->items[i], behind };
        questions[i] = (struct question) { proof->items[i].query, read_answer, side };
    }
}

bool proof_holds(const struct proof *proof, struct failure *failure)
{
    const struct failure *found = &proof->found;
    return found->code == FAILURE_NONE ||
           failure_set(failure, found->code, found->where, found->expected, "%s", found->what);
}

bool proof_ask(struct proof *proof, bool behind, struct dialogue *dialogue,
               struct deadline deadline, struct failure *failure)
{
    struct question questions[PROOF_ITEMS];
    proof_questions(proof, behind, questions);
    if (proof->together && proof->count > 0)
        return dialogue_read_all(dialogue, questions, proof->count, 0, deadline, failure) &&
               proof_holds(proof, failure);
    for (size_t i = 0; i < proof->count; i++)
        if (!dialogue_ask(dialogue, questions[i].text, 0, questions[i].reader, questions[i].out,
                          deadline, failure) ||
            !proof_holds(proof, failure))
            return false;
    return true;
}

bool proof_read(struct proof *proof, bool before, const struct question *question, double extra_ms,
                struct dialogue *dialogue, struct deadline deadline, struct failure *failure)
{
    struct question questions[2 * PROOF_ITEMS + 1];
    size_t first = before ? proof->count : 0;
    if (before)
        proof_questions(proof, false, questions);
    questions[first] = *question;
    proof_questions(proof, true, questions + first + 1);
    return dialogue_read_all(dialogue, questions, first + 1 + proof->count, extra_ms, deadline,
                             failure) &&
           proof_holds(proof, failure);
}
