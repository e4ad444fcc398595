/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * What can and what cannot be seen: bytes that come before a query or behind
 * its reply are always noticed. A reply nobody asked for that arrives in the
 * very moment between the look and the answer could be taken for the answer,
 * as on every link whose messages bear no numbers. Hence readings are asked
 * for together with a closing query, whose answer babble does not have, or
 * are followed by dialogue_confirm(): whoever talks unasked does not answer
 * that one as the known instrument does.
 */
#include "dialogue.h"

#include "dialogue_sync.h"
#include "drivers/basics/printable.h"
#include "drivers/cfg/pattern.h"
#include "exchange.h"
#include "link_open.h"
#include "response.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* Longest reply that can be a refusal, and most entries read from an error queue. */
enum { REFUSAL_LENGTH = 256, MOST_ERRORS = 100 };

/* Only plain text alone ends at a byte: a block may hold it, an echo or a prompt stands beside it. */
static void set_end_byte(struct dialogue *dialogue)
{
    const struct protocol *protocol = dialogue->protocol;
    const char *terminator = exchange_terminator(dialogue);

    dialogue->spec.has_end_byte =
        protocol->framing == FRAMING_LINE && !protocol->echo && protocol->prompt[0] == '\0';
    dialogue->spec.end_byte = (unsigned char)terminator[strlen(terminator) - 1];
}

struct dialogue *dialogue_new(const struct protocol *protocol, const struct link_spec *spec,
                              const char *name)
{
    struct dialogue *dialogue = calloc(1, sizeof *dialogue);

    if (!dialogue)
        return NULL;
    dialogue->protocol = protocol;
    dialogue->spec = *spec;
    set_end_byte(dialogue);
    snprintf(dialogue->name, sizeof dialogue->name, "%s", name);
    return dialogue;
}

void dialogue_free(struct dialogue *dialogue)
{
    if (!dialogue)
        return;
    link_close(dialogue->link);
    free(dialogue->input.bytes);
    free(dialogue->output.bytes);
    free(dialogue);
}

unsigned dialogue_epoch(const struct dialogue *dialogue)
{
    return dialogue->epoch;
}

const char *dialogue_identity(const struct dialogue *dialogue)
{
    return dialogue->identity;
}

const struct dialogue_counters *dialogue_counters(const struct dialogue *dialogue)
{
    return &dialogue->counters;
}

void dialogue_trace(struct dialogue *dialogue, dialogue_tracer *trace, void *context)
{
    dialogue->trace = trace;
    dialogue->trace_context = context;
}

void dialogue_suspect(struct dialogue *dialogue)
{
    dialogue->in_step = false;
}

bool dialogue_in_step(const struct dialogue *dialogue)
{
    return dialogue->link && dialogue->in_step;
}

void dialogue_disconnect(struct dialogue *dialogue)
{
    exchange_close(dialogue);
}

static void name_failure(const struct dialogue *dialogue, const char *text, struct failure *failure)
{
    char shown[48];

    if (failure->code == FAILURE_NONE || failure->where[0] != '\0')
        return;
    snprintf(failure->where, sizeof failure->where, "%s: %s", dialogue->name,
             printable(text, strlen(text), shown, sizeof shown));
}

/* Hands a failure on to the caller, who may not want it or have one already. */
static bool hand_on(const struct failure *own, struct failure *failure)
{
    return failure_set(failure, own->code, own->where, own->expected, "%s", own->what);
}

static bool open_link(struct dialogue *dialogue, struct deadline deadline, struct failure *failure)
{
    dialogue->link = link_open(&dialogue->spec, deadline, failure);
    if (!dialogue->link)
        return false;
    /* A serial line brings what was asked before it was closed; a new stream does not. */
    if (dialogue->spec.kind != LINK_SERIAL)
        dialogue->unanswered = 0;
    dialogue->counters.opened++;
    dialogue->fresh = true;
    return true;
}

bool dialogue_connect(struct dialogue *dialogue, struct deadline deadline, struct failure *failure)
{
    struct failure own;

    failure_clear(&own);
    if (dialogue->link || open_link(dialogue, deadline, &own))
        return true;
    return failure_set(failure, own.code, dialogue->name, own.expected, "%s", own.what);
}

bool dialogue_connected(const struct dialogue *dialogue)
{
    return dialogue->link != NULL;
}

bool dialogue_present(struct dialogue *dialogue, struct failure *failure)
{
    struct failure own;

    failure_clear(&own);
    if (!dialogue->link || link_present(dialogue->link, &own))
        return true;
    dialogue_disconnect(dialogue);
    return failure_set(failure, own.code, dialogue->name, own.expected, "%s", own.what);
}

const char *dialogue_note(const struct dialogue *dialogue)
{
    return dialogue->link ? link_note(dialogue->link) : "";
}

/* One try at coming in step. What is left of a stream that could not be is closed. */
static bool come_in_step(struct dialogue *dialogue, struct deadline deadline,
                         struct failure *failure)
{
    bool fresh;

    if (!dialogue->link && !open_link(dialogue, deadline, failure))
        return false;
    fresh = dialogue->fresh;
    dialogue->fresh = false;
    if (!dialogue_synchronise(dialogue, deadline, failure)) {
        if (dialogue->spec.kind != LINK_SERIAL)
            dialogue_disconnect(dialogue);
        return false;
    }
    if (!fresh)
        dialogue->counters.resynchronised++;
    dialogue->in_step = true;
    dialogue->unanswered = 0;
    dialogue->epoch++;
    return true;
}

/* The time that ran out was the caller's, not the instrument's. */
static void tell_deadline(struct deadline deadline, struct failure *failure)
{
    if (failure->code == FAILURE_TIMEOUT && deadline_passed(deadline))
        failure->code = FAILURE_DEADLINE;
}

bool dialogue_ready(struct dialogue *dialogue, struct deadline deadline, struct failure *failure)
{
    bool was_open = dialogue->link != NULL;
    struct failure own;

    if (dialogue_in_step(dialogue))
        return true;
    failure_clear(&own);
    if (come_in_step(dialogue, deadline, &own))
        return true;
    /* A link that broke while nobody looked deserves a fresh one at once. */
    if (was_open && own.code == FAILURE_DISCONNECTED) {
        failure_clear(&own);
        if (come_in_step(dialogue, deadline, &own))
            return true;
    }
    tell_deadline(deadline, &own);
    name_failure(dialogue, dialogue->protocol->identity_query, &own);
    return hand_on(&own, failure);
}

/* Text that cannot be one message, or a dialogue that may send none. Nothing was sent. */
static bool may_send(const struct dialogue *dialogue, const char *text, struct deadline deadline,
                     struct failure *failure)
{
    const char *terminator = dialogue->protocol->command_terminator;

    if (!dialogue_in_step(dialogue))
        return failure_set(failure, FAILURE_UNEXPECTED_REPLY, NULL, "a dialogue in step",
                           "not in step with the instrument");
    if (strpbrk(text, "\r\n") || (terminator[0] != '\0' && strstr(text, terminator)))
        return failure_set(failure, FAILURE_SETTINGS, NULL, "one message",
                           "command holds an end of line");
    if (deadline_passed(deadline))
        return failure_set(failure, FAILURE_DEADLINE, NULL, NULL, "no time left to ask");
    return true;
}

static bool not_refused(const struct protocol *protocol, const struct reply *reply,
                        struct failure *failure)
{
    char shown[80];

    if (!protocol->has_refusal || reply->count > REFUSAL_LENGTH ||
        !pattern_begins(&protocol->refusal, reply->bytes))
        return true;
    return failure_set(failure, FAILURE_INSTRUMENT_ERROR, NULL, NULL, "command refused with '%s'",
                       printable(reply->bytes, reply->count, shown, sizeof shown));
}

/* Whether each message has a reply of its own, so that none is taken for another's. */
static bool answers_each(const struct protocol *protocol)
{
    return protocol->acknowledges || protocol->echo || protocol->prompt[0] != '\0';
}

/* What is wrong with an exchange decides whether the dialogue is still in step. */
static void judge(struct dialogue *dialogue, const struct failure *failure)
{
    switch (failure->code) {
    case FAILURE_INSTRUMENT_ERROR:
        if (answers_each(dialogue->protocol))
            return;
        break;
    case FAILURE_TIMEOUT:
    case FAILURE_DEADLINE:
        dialogue->counters.timeouts++;
        break;
    case FAILURE_UNEXPECTED_REPLY:
    case FAILURE_BABBLE:
    case FAILURE_LINE_DAMAGED:
        dialogue->counters.unexpected++;
        break;
    default:
        break;
    }
    dialogue_suspect(dialogue);
}

/* Ends an exchange: names its failure, shows it, and hands the failure on. */
static bool finish(struct dialogue *dialogue, struct exchange *exchange, struct deadline deadline,
                   struct failure *failure)
{
    if (exchange->failure.code == FAILURE_NONE) {
        exchange_trace(dialogue, exchange);
        return true;
    }
    tell_deadline(deadline, &exchange->failure);
    if (exchange->sent && exchange_asks_identity(dialogue, exchange->text))
        dialogue->unanswered++;
    name_failure(dialogue, exchange->text, &exchange->failure);
    judge(dialogue, &exchange->failure);
    exchange_trace(dialogue, exchange);
    return hand_on(&exchange->failure, failure);
}

static bool refuse_to_send(const struct dialogue *dialogue, const char *text,
                           struct deadline deadline, struct failure *failure)
{
    struct failure own;

    failure_clear(&own);
    if (may_send(dialogue, text, deadline, &own))
        return false;
    name_failure(dialogue, text, &own);
    hand_on(&own, failure);
    return true;
}

static bool acknowledged(const struct protocol *protocol, const struct reply *reply,
                         struct failure *failure)
{
    char shown[80];

    if (!not_refused(protocol, reply, failure))
        return false;
    if (pattern_whole(&protocol->acknowledge, reply->bytes, reply->count))
        return true;
    return failure_set(failure, FAILURE_UNEXPECTED_REPLY, NULL, "an acknowledgement", "'%s'",
                       printable(reply->bytes, reply->count, shown, sizeof shown));
}

bool dialogue_command(struct dialogue *dialogue, const char *text, struct deadline deadline,
                      struct failure *failure)
{
    const struct protocol *protocol = dialogue->protocol;
    struct exchange exchange;

    if (refuse_to_send(dialogue, text, deadline, failure))
        return false;
    exchange = exchange_begin(text, protocol->acknowledges, protocol->reply_ms, deadline);
    if (exchange_run(dialogue, &exchange) && protocol->acknowledges)
        acknowledged(protocol, &exchange.reply, &exchange.failure);
    return finish(dialogue, &exchange, deadline, failure);
}

bool dialogue_query(struct dialogue *dialogue, const char *text, double extra_ms,
                    reply_reader *reader, void *out, struct deadline deadline,
                    struct failure *failure)
{
    const struct protocol *protocol = dialogue->protocol;
    struct exchange exchange;

    if (refuse_to_send(dialogue, text, deadline, failure))
        return false;
    dialogue->counters.queries++;
    exchange = exchange_begin(text, true, protocol->reply_ms + extra_ms, deadline);
    if (exchange_run(dialogue, &exchange) &&
        not_refused(protocol, &exchange.reply, &exchange.failure) &&
        !reader(&exchange.reply, out, &exchange.failure)) {
        failure_set(&exchange.failure, FAILURE_UNEXPECTED_REPLY, NULL, NULL,
                    "reply is not an answer to the query");
        dialogue_suspect(dialogue);
    }
    return finish(dialogue, &exchange, deadline, failure);
}

static bool read_identity(const struct reply *reply, void *out, struct failure *failure)
{
    const struct dialogue *dialogue = out;
    char shown[80];

    if (strcmp(reply->bytes, dialogue->identity) == 0)
        return true;
    return failure_set(failure, FAILURE_UNEXPECTED_REPLY, NULL, dialogue->identity, "'%s'",
                       printable(reply->bytes, reply->count, shown, sizeof shown));
}

bool dialogue_confirm(struct dialogue *dialogue, struct deadline deadline, struct failure *failure)
{
    const struct protocol *protocol = dialogue->protocol;

    if (protocol->closing_query[0] != '\0')
        return true;
    return dialogue_query(dialogue, protocol->identity_query, 0, read_identity, dialogue, deadline,
                          failure);
}

/* One entry of an error queue. */
struct entry {
    const struct protocol *protocol;
    bool none;
    char text[160];
};

/* Numbers behind a number are a record or several readings, and an answer to something else. */
static bool is_list(const struct reply *reply)
{
    const char *comma = memchr(reply->bytes, ',', reply->count);
    const char *next = comma != NULL ? comma + 1 + strspn(comma + 1, " \t") : "";

    return next[0] != '\0' && strchr("+-.0123456789", next[0]) != NULL;
}

/* Whether a number is that of an error: whole, and of 16 bits (SCPI-1999, 21.8). */
static bool is_error_number(const struct element *element)
{
    return element->type == ELEMENT_NUMBER && fabs(element->number) <= 32768 &&
           memchr(element->bytes, '.', element->count) == NULL &&
           element->number == rint(element->number);
}

/* An entry begins with its number where answers follow IEEE 488.2 (SCPI-1999, 21.8). */
static bool read_entry(const struct reply *reply, void *out, struct failure *failure)
{
    struct entry *entry = out;
    struct element elements[8];
    size_t n;
    bool standard = entry->protocol->framing == FRAMING_488;

    printable(reply->bytes, reply->count, entry->text, sizeof entry->text);
    entry->none = pattern_begins(&entry->protocol->error_none, reply->bytes);
    if (entry->none && !(standard && is_list(reply)))
        return true;
    if (reply->count == 0)
        return failure_set(failure, FAILURE_UNEXPECTED_REPLY, NULL, "an error entry",
                           "empty reply");
    if (!standard)
        return true;
    if (!response_parse(reply->bytes, reply->count, elements, 8, &n, failure))
        return false;
    if (is_error_number(&elements[0]) && !is_list(reply))
        return true;
    return failure_set(failure, FAILURE_UNEXPECTED_REPLY, NULL, "an error entry", "'%s'",
                       entry->text);
}

bool dialogue_check_errors(struct dialogue *dialogue, struct deadline deadline,
                           struct failure *failure)
{
    struct entry entry = { .protocol = dialogue->protocol };
    struct failure first;

    failure_clear(&first);
    if (dialogue->protocol->error_query[0] == '\0')
        return true;
    for (int i = 0; i < MOST_ERRORS; i++) {
        if (!dialogue_ask(dialogue, dialogue->protocol->error_query, 0, read_entry, &entry,
                          deadline, first.code ? NULL : failure))
            return first.code ? hand_on(&first, failure) : false;
        if (entry.none)
            return first.code ? hand_on(&first, failure) : true;
        failure_set(&first, FAILURE_INSTRUMENT_ERROR, dialogue->name, NULL, "%s", entry.text);
    }
    dialogue_suspect(dialogue);
    return hand_on(&first, failure);
}
