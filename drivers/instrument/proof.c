/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "proof.h"

#include "drivers/cfg/pattern.h"
#include "drivers/dialogue/response.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

/* How far a range that is read back may be from the one that was sent. */
static const double range_tolerance = 1e-6;

static bool add_item(struct proof *proof, const char *what, const char *query,
                     const struct command_values *values, const regex_t *pattern,
                     struct failure *failure)
{
    if (query[0] == '\0')
        return true;
    struct proof_item *item = &proof->items[proof->count++];
    *item = (struct proof_item) { .what = what, .pattern = pattern, .number = NAN };
    return command_fill(query, values, item->query, sizeof item->query, failure);
}

static const regex_t *pattern_of(const struct check *check)
{
    return check->has_pattern ? &check->pattern : NULL;
}

static bool add_route(struct proof *proof, const struct profile *profile,
                      const struct command_values *values, struct failure *failure)
{
    if (!add_item(proof, "input that was connected", profile->route_query, values, NULL, failure))
        return false;
    if (proof->count == 0)
        return true;
    struct proof_item *item = &proof->items[0];
    return command_fill(profile->route_answer, values, item->text, sizeof item->text, failure);
}

bool proof_make(struct proof *proof, const struct profile *profile, const struct function *function,
                const struct command_values *values, const char *name, struct failure *failure)
{
    proof->name = name;
    proof->count = 0;
    if (!add_route(proof, profile, values, failure) ||
        !add_item(proof, "function that was entered", function->select_check.query, values,
                  pattern_of(&function->select_check), failure) ||
        !add_item(proof, "range that stays as it is set", function->auto_check.query, values,
                  pattern_of(&function->auto_check), failure))
        return false;
    size_t before = proof->count;
    if (!add_item(proof, "range that was set", function->range_check.query, values, NULL, failure))
        return false;
    if (proof->count > before)
        proof->items[before].number = values->range;
    return true;
}

static bool is_number(const char *answer, double number)
{
    double value;
    enum number_special special;
    return response_number(answer, strlen(answer), &value, &special, NULL) &&
           special == SPECIAL_NONE && fabs(value - number) <= range_tolerance * fabs(number);
}

static bool agrees(const struct proof_item *item, const char *answer)
{
    if (item->pattern)
        return pattern_whole(item->pattern, answer, strlen(answer));
    if (item->text[0] != '\0')
        return strcmp(item->text, answer) == 0;
    return is_number(answer, item->number);
}

/* Whether an answer is the one that the setup must give. */
static bool check(const struct proof *proof, const struct proof_item *item, const char *answer,
                  struct failure *failure)
{
    char expected[32] = "";
    if (agrees(item, answer))
        return true;
    if (isfinite(item->number))
        command_number(expected, sizeof expected, item->number);
    else if (item->text[0] != '\0')
        snprintf(expected, sizeof expected, "%.31s", item->text);
    return failure_set(failure, FAILURE_CHANGED, proof->name, expected[0] != '\0' ? expected : NULL,
                       "%s: %s answered %.64s", item->what, item->query, answer);
}

static bool copy_answer(const char *bytes, size_t count, char *answer, struct failure *failure)
{
    if (count >= PROOF_ANSWER || memchr(bytes, '\0', count))
        return failure_set(failure, FAILURE_UNEXPECTED_REPLY, NULL, "a short line of text",
                           "%zu bytes", count);
    memcpy(answer, bytes, count);
    answer[count] = '\0';
    return true;
}

static bool read_answer(const struct reply *reply, void *out, struct failure *failure)
{
    return copy_answer(reply->bytes, reply->count, out, failure);
}

bool proof_ask(const struct proof *proof, struct dialogue *dialogue, struct deadline deadline,
               struct failure *failure)
{
    char answer[PROOF_ANSWER];
    for (size_t i = 0; i < proof->count; i++)
        if (!dialogue_query(dialogue, proof->items[i].query, 0, read_answer, answer, deadline,
                            failure) ||
            !check(proof, &proof->items[i], answer, failure))
            return false;
    return true;
}

/* One message with the reading amid its proofs. */
struct amid {
    const struct proof *proof;
    reply_reader *reader;
    void *out;
    struct failure found; /* what is set otherwise */
};

/* Bytes up to the next separator of answers outside quotes (IEEE 488.2, 8.4.1). */
static size_t answer_length(const char *bytes, size_t count)
{
    char quote = '\0';
    size_t i = 0;
    for (; i < count && (quote != '\0' || bytes[i] != ';'); i++)
        if (quote != '\0')
            quote = bytes[i] == quote ? '\0' : quote;
        else if (bytes[i] == '"' || bytes[i] == '\'')
            quote = bytes[i];
    return i;
}

/* Takes the answers apart: as many as were asked for, the reading in the middle. */
static bool read_amid(const struct reply *reply, void *out, struct failure *failure)
{
    struct amid *amid = out;
    size_t count = amid->proof->count;
    const char *at = reply->bytes;
    const char *end = at + reply->count;
    for (size_t i = 0; i <= 2 * count; i++) {
        char answer[PROOF_ANSWER];
        size_t length = answer_length(at, (size_t)(end - at));
        if ((at + length == end) != (i == 2 * count))
            return failure_set(failure, FAILURE_UNEXPECTED_REPLY, NULL, NULL,
                               "%s than the %zu answers that were asked for",
                               at + length == end ? "fewer" : "more", 2 * count + 1);
        if (!copy_answer(at, length, answer, failure))
            return false;
        at += length + (at + length < end);
        const struct reply one = { answer, length };
        if (i == count) {
            if (!amid->reader(&one, amid->out, failure))
                return false;
        } else {
            check(amid->proof, &amid->proof->items[i < count ? i : i - count - 1], answer,
                  &amid->found);
        }
    }
    return true;
}

/* The whole message; false when it is too long. */
static bool compose(const struct proof *proof, const char *read, char *message, size_t size)
{
    size_t length = 0;
    for (size_t i = 0; i <= 2 * proof->count && length < size; i++) {
        size_t item = i < proof->count ? i : i - proof->count - 1;
        int written = snprintf(message + length, size - length, "%s%s", i > 0 ? ";" : "",
                               i == proof->count ? read : proof->items[item].query);
        length += (size_t)written;
    }
    return length < size;
}

bool proof_read(const struct proof *proof, struct dialogue *dialogue,
                const struct function *function, reply_reader *reader, void *out,
                struct deadline deadline, struct failure *failure)
{
    struct amid amid = { .proof = proof, .reader = reader, .out = out };
    char message[COMMAND_SIZE];
    if (!compose(proof, function->read, message, sizeof message))
        return failure_set(failure, FAILURE_SETTINGS, proof->name, NULL,
                           "the reading and its proofs are too long for one message");
    if (!dialogue_read(dialogue, message, function->conversion_ms, read_amid, &amid, deadline,
                       failure))
        return false;
    return amid.found.code == FAILURE_NONE ||
           failure_set(failure, amid.found.code, amid.found.where, amid.found.expected, "%s",
                       amid.found.what);
}
