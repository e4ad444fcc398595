/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Messages whose reply says which message it answers: by what is asked for
 * behind the query, and by how many answers there are.
 */
#include "dialogue.h"

#include "drivers/basics/printable.h"
#include "exchange.h"

#include <stdio.h>
#include <string.h>

/* Most closing queries behind a reading. */
enum { CLOSINGS = 2 };

/* Numbers there are: the event status enable register takes 0 to 255 (IEEE 488.2, 11.5.1.3). */
enum { NUMBERS = 256 };

/* A reading asked for together with the protocol's closing query. */
struct closed {
    struct dialogue *dialogue;
    const char
        *end; /* the closing answers that must follow it; up to the number, where it has one */
    const char *behind; /* what must follow the number; NULL: there is none */
    unsigned number;
    reply_reader *reader;
    void *out;
};

/* What came, where it may be written to. */
static char *bytes_of(const struct dialogue *dialogue, const struct reply *reply)
{
    return dialogue->input.bytes + (reply->bytes - dialogue->input.bytes);
}

/* Takes this text off the end; false: it does not stand there. */
static bool take_off(const char *bytes, size_t *count, const char *text)
{
    size_t length = strlen(text);
    if (*count < length || memcmp(bytes + *count - length, text, length) != 0)
        return false;
    *count -= length;
    return true;
}

/* Takes this number off the end, with a plus sign and zeros before it or without (NR1). */
static bool number_off(const char *bytes, size_t *count, unsigned number)
{
    char digits[PROTOCOL_CLOSING];
    int length = snprintf(digits, sizeof digits, "%u", number);

    if (length < 0 || !take_off(bytes, count, digits))
        return false;
    while (*count > 0 && bytes[*count - 1] == '0')
        --*count;
    if (*count > 0 && bytes[*count - 1] == '+')
        --*count;
    return true;
}

/* Takes the closing answer off the end of the reply; without it the reply is somebody else's. */
static bool read_closed(const struct reply *reply, void *out, struct failure *failure)
{
    const struct closed *closed = out;
    char *bytes = bytes_of(closed->dialogue, reply);
    size_t count = reply->count;
    char shown[80];

    if ((closed->behind != NULL && (!take_off(bytes, &count, closed->behind) ||
                                    !number_off(bytes, &count, closed->number))) ||
        !take_off(bytes, &count, closed->end))
        return failure_set(failure, FAILURE_UNEXPECTED_REPLY, NULL,
                           "an answer with the closing answer behind it", "'%s'",
                           printable(bytes, reply->count, shown, sizeof shown));
    bytes[count] = '\0';
    const struct reply reading = { bytes, count };
    return closed->reader(&reading, closed->out, failure);
}

static bool is_numbered(const struct protocol *protocol)
{
    return strstr(protocol->closing_query, PROTOCOL_NUMBER) != NULL;
}

/* Appends a text that may have a number in it, with the number filled in. */
static void append(char *text, size_t size, const char *closing, unsigned number)
{
    size_t length = strlen(text);
    const char *place = strstr(closing, PROTOCOL_NUMBER);

    if (place == NULL)
        snprintf(text + length, size - length, "%s", closing);
    else
        snprintf(text + length, size - length, "%.*s%u%s", (int)(place - closing), closing, number,
                 place + strlen(PROTOCOL_NUMBER));
}

/* What must stand behind the answers, without the number of the message. */
static void expect(struct closed *closed, char *end, size_t size, int closings)
{
    const struct dialogue *dialogue = closed->dialogue;
    const char *reply = dialogue->protocol->closing_reply;
    const char *place = strstr(reply, PROTOCOL_NUMBER);

    closed->end = end;
    closed->number = dialogue->number;
    closed->behind = place != NULL ? place + strlen(PROTOCOL_NUMBER) : NULL;
    if (place != NULL)
        snprintf(end, size, "%.*s", (int)(place - reply), reply);
    else
        snprintf(end, size, "%s%s", reply, closings > 1 ? reply : "");
}

bool dialogue_read(struct dialogue *dialogue, const char *text, double extra_ms,
                   reply_reader *reader, void *out, struct deadline deadline,
                   struct failure *failure)
{
    const struct protocol *protocol = dialogue->protocol;
    char message[DIALOGUE_LONGEST + CLOSINGS * PROTOCOL_CLOSING], end[CLOSINGS * PROTOCOL_CLOSING];
    struct closed closed = { .dialogue = dialogue, .reader = reader, .out = out };

    if (protocol->closing_query[0] == '\0')
        return dialogue_query(dialogue, text, extra_ms, reader, out, deadline, failure);
    if (strlen(text) > DIALOGUE_LONGEST)
        return failure_set(failure, FAILURE_SETTINGS, dialogue->name, "at most 1024 characters",
                           "a reading's query is too long");
    dialogue->number = (dialogue->number + 1) % NUMBERS;
    snprintf(message, sizeof message, "%s", text);
    int closings = is_numbered(protocol) ? 1 : 1 + (int)(dialogue->number % 2);
    for (int i = 0; i < closings; i++)
        append(message, sizeof message, protocol->closing_query, dialogue->number);
    expect(&closed, end, sizeof end, closings);
    return dialogue_query(dialogue, message, extra_ms, read_closed, &closed, deadline, failure);
}

bool dialogue_ask(struct dialogue *dialogue, const char *text, double extra_ms,
                  reply_reader *reader, void *out, struct deadline deadline,
                  struct failure *failure)
{
    return (is_numbered(dialogue->protocol) ? dialogue_read : dialogue_query)(
        dialogue, text, extra_ms, reader, out, deadline, failure);
}

/* Several answers in one reply. */
struct answers {
    const struct dialogue *dialogue;
    const struct question *questions;
    size_t count;
};

/* Bytes of a definite block, its head included (IEEE 488.2, 8.7.9); 0: it is none. */
static size_t block_length(const char *bytes, size_t count)
{
    if (count < 2 || bytes[0] != '#' || bytes[1] < '1' || bytes[1] > '9')
        return 0;
    size_t digits = (size_t)(bytes[1] - '0'), length = 0;
    for (size_t i = 2; i < 2 + digits; i++) {
        if (i >= count || bytes[i] < '0' || bytes[i] > '9')
            return 0;
        length = length * 10 + (size_t)(bytes[i] - '0');
    }
    return 2 + digits + length <= count ? 2 + digits + length : 0;
}

/* Bytes up to the next separator of answers outside quotes and blocks. */
static size_t answer_length(const char *bytes, size_t count)
{
    char quote = '\0';
    size_t i = 0;

    while (i < count && (quote != '\0' || bytes[i] != ';')) {
        size_t block = 0;
        if (quote != '\0')
            quote = bytes[i] == quote ? '\0' : quote;
        else if (bytes[i] == '"' || bytes[i] == '\'')
            quote = bytes[i];
        else if (i == 0 || bytes[i - 1] == ',')
            block = block_length(bytes + i, count - i);
        i += block > 0 ? block : 1;
    }
    return i;
}

/* Takes the answers apart: as many as were asked for. */
static bool read_answers(const struct reply *reply, void *out, struct failure *failure)
{
    const struct answers *answers = out;
    char *at = bytes_of(answers->dialogue, reply);
    char *end = at + reply->count;

    for (size_t i = 0; i < answers->count; i++) {
        size_t length = answer_length(at, (size_t)(end - at));
        bool last = at + length == end;
        if (last != (i + 1 == answers->count))
            return failure_set(failure, FAILURE_UNEXPECTED_REPLY, NULL, NULL,
                               "%s than the %zu answers that were asked for",
                               last ? "fewer" : "more", answers->count);
        at[length] = '\0';
        const struct reply one = { at, length };
        if (!answers->questions[i].reader(&one, answers->questions[i].out, failure))
            return false;
        at += length + !last;
    }
    return true;
}

bool dialogue_read_all(struct dialogue *dialogue, const struct question *questions, size_t count,
                       double extra_ms, struct deadline deadline, struct failure *failure)
{
    struct answers answers = { dialogue, questions, count };
    char message[DIALOGUE_LONGEST + 1] = "";
    size_t length = 0;

    for (size_t i = 0; i < count && length < sizeof message; i++)
        length += (size_t)snprintf(message + length, sizeof message - length, "%s%s",
                                   i > 0 ? ";" : "", questions[i].text);
    if (length >= sizeof message)
        return failure_set(failure, FAILURE_SETTINGS, dialogue->name, "at most 1024 characters",
                           "a reading and its proofs are too long for one message");
    return dialogue_read(dialogue, message, extra_ms, read_answers, &answers, deadline, failure);
}
