/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "exchange.h"

#include "drivers/basics/printable.h"
#include "framer.h"

#include <stdlib.h>
#include <string.h>

/* Room for what comes in at first, and the room a read must have at least. */
enum { FIRST_ROOM = 65536, LEAST_ROOM = 4096 };

/* A moment long ago: reading with it takes what is there and does not wait. */
static const struct deadline no_wait = { 0 };

/* How far what has come in has been looked at. */
struct assembly {
    size_t echo;   /* bytes of echo to come before the reply */
    size_t prompt; /* bytes of prompt to come behind it */
    bool framed;   /* the reply is there, or none is wanted */
    size_t length; /* of the reply with its terminator */
    size_t body;   /* of the reply without */
    struct framer framer;
};

bool exchange_send(struct dialogue *dialogue, const char *text, const char *terminator,
                   struct deadline deadline, struct failure *failure)
{
    struct buffer *output = &dialogue->output;
    size_t length = strlen(text);
    size_t count = length + strlen(terminator);

    output->count = 0;
    if (!buffer_reserve(output, count, failure))
        return false;
    memcpy(output->bytes, text, length);
    memcpy(output->bytes + length, terminator, count - length);
    output->count = count;
    if (link_write(dialogue->link, output->bytes, count, deadline, failure))
        return true;
    dialogue->half_sent = true;
    exchange_close(dialogue);
    return false;
}

enum link_result exchange_receive(struct dialogue *dialogue, bool *end, struct deadline deadline,
                                  struct failure *failure)
{
    struct buffer *input = &dialogue->input;
    enum link_result result;
    size_t count;

    if (!buffer_reserve(input, FIRST_ROOM, failure) ||
        !buffer_reserve(input, input->count + LEAST_ROOM, failure))
        return LINK_BROKEN;
    result = link_read(dialogue->link, input->bytes + input->count, input->capacity - input->count,
                       &count, end, deadline, failure);
    if (result == LINK_BYTES)
        input->count += count;
    else if (result == LINK_BROKEN)
        exchange_close(dialogue);
    return result;
}

/*
 * Before a message goes out nothing may be waiting: it would be taken for its
 * reply. A link that marks ends brings nothing unasked and is not asked here.
 */
static bool look(struct dialogue *dialogue, struct failure *failure)
{
    char shown[80];
    bool end;
    enum link_result result;

    dialogue->input.count = 0;
    result = exchange_receive(dialogue, &end, no_wait, failure);
    if (result == LINK_BYTES)
        failure_set(failure, FAILURE_UNEXPECTED_REPLY, NULL, "silence before the query",
                    "'%s' came unasked",
                    printable(dialogue->input.bytes, dialogue->input.count, shown, sizeof shown));
    return result == LINK_QUIET;
}

const char *exchange_terminator(const struct dialogue *dialogue)
{
    const struct protocol *protocol = dialogue->protocol;

    if (protocol->framing == FRAMING_488 || protocol->reply_terminator[0] == '\0')
        return "\n";
    return protocol->reply_terminator;
}

static void assembly_begin(struct assembly *assembly, const struct dialogue *dialogue,
                           bool wants_reply)
{
    const struct protocol *protocol = dialogue->protocol;

    *assembly = (struct assembly) { .echo = protocol->echo ? dialogue->output.count : 0,
                                    .prompt = strlen(protocol->prompt),
                                    .framed = !wants_reply };
    if (protocol->framing == FRAMING_488)
        framer_start_488(&assembly->framer, link_marks_end(dialogue->link), protocol->reply_limit);
    else
        framer_start_line(&assembly->framer, exchange_terminator(dialogue), protocol->reply_limit);
}

/* Compares what there is from `from` on with what must come there. */
static enum frame expect(const struct buffer *input, size_t from, const char *bytes, size_t count,
                         const char *name, struct failure *failure)
{
    size_t there = input->count > from ? input->count - from : 0;
    size_t compare = there < count ? there : count;
    char shown[80];

    if (compare > 0 && memcmp(input->bytes + from, bytes, compare) != 0) {
        failure_set(failure, FAILURE_UNEXPECTED_REPLY, NULL, NULL, "'%s' instead of the %s",
                    printable(input->bytes + from, there, shown, sizeof shown), name);
        return FRAME_INVALID;
    }
    return there < count ? FRAME_INCOMPLETE : FRAME_COMPLETE;
}

static enum frame nothing_more(const struct buffer *input, size_t from, struct failure *failure)
{
    char shown[80];

    if (input->count <= from)
        return FRAME_COMPLETE;
    failure_set(failure, FAILURE_UNEXPECTED_REPLY, NULL, "one reply", "'%s' behind the reply",
                printable(input->bytes + from, input->count - from, shown, sizeof shown));
    return FRAME_INVALID;
}

/* Looks at what has come: is all of it there that belongs to this exchange, and no more? */
static enum frame assemble(const struct dialogue *dialogue, struct assembly *assembly, bool end,
                           struct failure *failure)
{
    const struct buffer *input = &dialogue->input;
    size_t behind;
    enum frame frame =
        expect(input, 0, dialogue->output.bytes, assembly->echo, "command's echo", failure);

    if (frame != FRAME_COMPLETE)
        return frame;
    if (!assembly->framed && input->count > assembly->echo) {
        frame = framer_feed(&assembly->framer, input->bytes + assembly->echo,
                            input->count - assembly->echo, end, &assembly->length, &assembly->body,
                            failure);
        assembly->framed = frame == FRAME_COMPLETE;
        if (frame == FRAME_INVALID)
            return frame;
    }
    if (!assembly->framed)
        return FRAME_INCOMPLETE;
    behind = assembly->echo + assembly->length;
    frame = expect(input, behind, dialogue->protocol->prompt, assembly->prompt, "prompt", failure);
    if (frame != FRAME_COMPLETE)
        return frame;
    frame = nothing_more(input, behind + assembly->prompt, failure);
    /* A link that marks ends has more to come until it says so, whatever the bytes look like. */
    if (frame == FRAME_COMPLETE && link_marks_end(dialogue->link) && input->count > 0 && !end)
        return FRAME_INCOMPLETE;
    return frame;
}

static bool timed_out(const struct dialogue *dialogue, struct failure *failure)
{
    const struct buffer *input = &dialogue->input;
    char shown[80];

    if (input->count == 0)
        return failure_set(failure, FAILURE_TIMEOUT, NULL, NULL, "no reply");
    return failure_set(failure, FAILURE_TIMEOUT, NULL, "a whole reply", "only %zu bytes came, '%s'",
                       input->count, printable(input->bytes, input->count, shown, sizeof shown));
}

static bool gather(struct dialogue *dialogue, struct assembly *assembly, struct exchange *exchange)
{
    bool end = false;
    enum frame frame;

    dialogue->input.count = 0;
    while ((frame = assemble(dialogue, assembly, end, &exchange->failure)) == FRAME_INCOMPLETE) {
        enum link_result result = LINK_QUIET;

        /* Bytes that trickle in must not keep it beyond its time. */
        if (dialogue->input.count == 0 || !deadline_passed(exchange->limit))
            result = exchange_receive(dialogue, &end, exchange->limit, &exchange->failure);
        if (result == LINK_QUIET)
            return timed_out(dialogue, &exchange->failure);
        if (result == LINK_BROKEN)
            return false;
    }
    return frame == FRAME_COMPLETE;
}

struct exchange exchange_begin(const char *text, bool wants_reply, double wait_ms,
                               struct deadline deadline)
{
    struct exchange exchange = { .text = text,
                                 .wants_reply = wants_reply,
                                 .limit = deadline_sooner(deadline, deadline_in(wait_ms)) };

    failure_clear(&exchange.failure);
    return exchange;
}

bool exchange_run(struct dialogue *dialogue, struct exchange *exchange)
{
    struct failure *failure = &exchange->failure;
    const char *terminator = dialogue->protocol->command_terminator;
    struct assembly assembly;

    if (!look(dialogue, failure))
        return false;
    exchange->sent = true;
    exchange->sent_at = monotonic_now();
    if (!exchange_send(dialogue, exchange->text, terminator, exchange->limit, failure))
        return false;
    assembly_begin(&assembly, dialogue, exchange->wants_reply);
    if (!gather(dialogue, &assembly, exchange))
        return false;
    exchange->done_at = monotonic_now();
    if (dialogue->input.count > 0 && link_damaged(dialogue->link))
        return failure_set(failure, FAILURE_LINE_DAMAGED, NULL, NULL,
                           "characters were damaged or lost on the way");
    if (!exchange->wants_reply)
        return true;
    exchange->has_reply = true;
    exchange->reply = (struct reply) { dialogue->input.bytes + assembly.echo, assembly.body };
    dialogue->input.bytes[assembly.echo + assembly.body] = '\0';
    return true;
}

void exchange_trace(const struct dialogue *dialogue, const struct exchange *exchange)
{
    struct moment end = moment_is_set(exchange->done_at) ? exchange->done_at : monotonic_now();
    const struct failure *failure = exchange->failure.code ? &exchange->failure : NULL;

    if (!dialogue->trace || !exchange->sent)
        return;
    dialogue->trace(dialogue->trace_context, exchange->text,
                    exchange->has_reply ? &exchange->reply : NULL,
                    duration_ms(moment_since(end, exchange->sent_at)), failure);
}

bool exchange_asks_identity(const struct dialogue *dialogue, const char *text)
{
    return strcmp(text, dialogue->protocol->identity_query) == 0;
}

void exchange_close(struct dialogue *dialogue)
{
    link_close(dialogue->link);
    dialogue->link = NULL;
    dialogue->in_step = false;
}
