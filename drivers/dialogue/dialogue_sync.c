/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Bringing a dialogue in step (own rule: a serial line and a bare socket do not
 * throw late answers away): wait until the instrument has been silent, ask who
 * it is, throw away whatever comes before its identity as late, and make sure
 * that nothing comes behind it.
 *
 * Every identity query that went out without an answer is counted, also those
 * of earlier failed attempts on the same line: its answer may still come, and
 * is waited for, so that it is never taken for another's.
 *
 * A link that marks ends and has been cleared owes nothing, and brings nothing
 * unasked: there is no silence to wait for, and a read for one would be a
 * request to talk that the instrument takes for a mistake (UNTERMINATED,
 * IEEE 488.2 6.3.2.2: error -420).
 */
#include "dialogue_sync.h"

#include "drivers/basics/printable.h"
#include "drivers/cfg/pattern.h"
#include "response.h"

#include <stdio.h>
#include <string.h>

/* Identity queries sent at most, and what is read beyond two longest replies. */
enum { ATTEMPTS = 3, SPARE_BYTES = 65536 };

struct sync {
    struct dialogue *dialogue;
    struct deadline deadline;
    struct exchange exchange; /* the identity query under way */
    size_t received;          /* bytes since the last silence */
    size_t begin;             /* first byte of the input that belongs to no line yet */
    size_t looked;            /* bytes of the input in which no end of line is */
    size_t lines;             /* that were no identity, since the last query */
    bool ended;               /* the link marked the end of what came last */
    size_t repeated;          /* times in a row that `other` was all that came */
    char other[DIALOGUE_IDENTITY];
};

/* How an attempt, or a part of one, ended. */
enum outcome {
    SYNC_DONE,
    SYNC_AGAIN, /* not in step, but worth another attempt */
    SYNC_LOST   /* the failure says why */
};

/* A line that came: without its terminator, and never longer than what was received. */
struct line {
    char *bytes;
    size_t count;
};

static struct failure *sync_failure(struct sync *sync)
{
    return &sync->exchange.failure;
}

static enum outcome out_of_time(struct sync *sync)
{
    failure_set(sync_failure(sync), FAILURE_DEADLINE, NULL, NULL,
                "no time left to come in step with the instrument");
    return SYNC_LOST;
}

static enum outcome babbling(struct sync *sync)
{
    char shown[80];
    const struct buffer *input = &sync->dialogue->input;

    failure_set(sync_failure(sync), FAILURE_BABBLE, NULL, "silence",
                "still sending after %zu bytes, '%s'", sync->received,
                printable(input->bytes, input->count, shown, sizeof shown));
    exchange_close(sync->dialogue);
    return SYNC_LOST;
}

static size_t most_bytes(const struct sync *sync)
{
    return 2 * sync->dialogue->protocol->reply_limit + SPARE_BYTES;
}

/* Receives until `wait_ms` from now; SYNC_AGAIN: nothing came in all that time. */
static enum outcome receive(struct sync *sync, struct deadline until)
{
    size_t before = sync->dialogue->input.count;
    struct deadline limit = deadline_sooner(until, sync->deadline);

    sync->ended = false;
    switch (exchange_receive(sync->dialogue, &sync->ended, limit, sync_failure(sync))) {
    case LINK_BYTES:
        sync->received += sync->dialogue->input.count - before;
        return sync->received > most_bytes(sync) ? babbling(sync) : SYNC_DONE;
    case LINK_QUIET:
        return SYNC_AGAIN;
    default:
        return SYNC_LOST;
    }
}

/* Throws away what comes until the instrument has been silent for the protocol's time. */
static enum outcome drain(struct sync *sync)
{
    sync->received = 0;
    if (link_marks_end(sync->dialogue->link))
        return SYNC_DONE;
    for (;;) {
        struct deadline silence = deadline_in(sync->dialogue->protocol->quiet_ms);
        enum outcome outcome;

        sync->dialogue->input.count = 0;
        outcome = receive(sync, silence);
        if (outcome == SYNC_LOST)
            return outcome;
        if (outcome == SYNC_AGAIN && !deadline_passed(silence))
            return sync->received ? babbling(sync) : out_of_time(sync);
        if (outcome == SYNC_AGAIN)
            return SYNC_DONE;
        if (deadline_passed(sync->deadline))
            return babbling(sync);
    }
}

/* Moves the unfinished line to the front, so that the input does not grow for ever. */
static void forget_lines(struct sync *sync)
{
    struct buffer *input = &sync->dialogue->input;

    if (sync->begin == 0)
        return;
    memmove(input->bytes, input->bytes + sync->begin, input->count - sync->begin);
    input->count -= sync->begin;
    sync->looked -= sync->begin;
    sync->begin = 0;
}

/* Takes what there is of a line out of the input, when the link says that it ends there. */
static bool read_ended(struct sync *sync, struct line *line)
{
    struct buffer *input = &sync->dialogue->input;

    if (!sync->ended || sync->begin == input->count)
        return false;
    line->bytes = input->bytes + sync->begin;
    line->count = input->count - sync->begin;
    line->bytes[line->count] = '\0';
    sync->begin = sync->looked = input->count;
    return true;
}

/* Takes the next whole line out of the input. */
static bool read_line(struct sync *sync, struct line *line)
{
    const char *terminator = exchange_terminator(sync->dialogue);
    size_t length = strlen(terminator);
    struct buffer *input = &sync->dialogue->input;
    char *end = NULL;

    if (input->count > sync->looked)
        end = memchr(input->bytes + sync->looked, terminator[length - 1],
                     input->count - sync->looked);
    sync->looked = end ? (size_t)(end - input->bytes) + 1 : input->count;
    if (!end)
        return read_ended(sync, line);
    line->bytes = input->bytes + sync->begin;
    line->count = sync->looked - sync->begin;
    sync->begin = sync->looked;
    if (line->count >= length &&
        memcmp(line->bytes + line->count - length, terminator, length) == 0)
        line->count -= length;
    else
        line->count--;
    if (line->count > 0 && line->bytes[line->count - 1] == '\r')
        line->count--;
    line->bytes[line->count] = '\0';
    return true;
}

/* Waits for a line until `until`; SYNC_AGAIN: none came. */
static enum outcome next_line(struct sync *sync, struct deadline until, struct line *line)
{
    while (!read_line(sync, line)) {
        enum outcome outcome;

        forget_lines(sync);
        outcome = receive(sync, until);
        if (outcome != SYNC_DONE)
            return outcome;
        if (deadline_passed(until))
            return read_line(sync, line) ? SYNC_DONE : SYNC_AGAIN;
    }
    return SYNC_DONE;
}

static bool strip(struct line *line, const char *bytes, size_t count)
{
    if (count == 0 || line->count < count || memcmp(line->bytes, bytes, count) != 0)
        return false;
    line->bytes += count;
    line->count -= count;
    return true;
}

/* Prompts and echoes of what went before may stand at the head of a line. */
static void strip_head(const struct sync *sync, struct line *line)
{
    const struct dialogue *dialogue = sync->dialogue;
    const char *prompt = dialogue->protocol->prompt;
    const char *echo = dialogue->output.bytes;
    size_t length = dialogue->protocol->echo ? dialogue->output.count : 0;

    while (strip(line, prompt, strlen(prompt)) || strip(line, echo, length))
        continue;
}

/* Anything but printable ASCII is a damaged character. */
static bool is_undamaged(const struct line *line)
{
    for (size_t i = 0; i < line->count; i++)
        if (line->bytes[i] < 0x20 || line->bytes[i] > 0x7e)
            return false;
    return true;
}

static bool fits_profile(const struct dialogue *dialogue, const char *identity)
{
    return pattern_begins(&dialogue->protocol->identity, identity);
}

/*
 * How much of an identity names one unit: maker, model, serial number, not
 * firmware (IEEE 488.2 10.14).
 */
static size_t unit_length(const struct dialogue *dialogue, const char *identity)
{
    size_t length = 0;

    if (dialogue->protocol->framing != FRAMING_488)
        return strlen(identity);
    for (int field = 0; field < 3; field++) {
        length += strcspn(identity + length, ",");
        length += identity[length] == ',';
    }
    return length;
}

/*
 * Whether it is the unit that was there before. Another of the same type has
 * another calibration: it must not slip into this one's readings.
 */
static bool is_same_unit(const struct dialogue *dialogue, const char *identity)
{
    size_t length = unit_length(dialogue, identity);

    return dialogue->identity[0] == '\0' || (length == unit_length(dialogue, dialogue->identity) &&
                                             memcmp(identity, dialogue->identity, length) == 0);
}

static bool is_identity(const struct sync *sync, const struct line *line)
{
    return line->count < DIALOGUE_IDENTITY && is_undamaged(line) &&
           fits_profile(sync->dialogue, line->bytes) && is_same_unit(sync->dialogue, line->bytes);
}

/* The identity query come back is no reply. */
static bool is_echo(const struct sync *sync, const struct line *line)
{
    return sync->dialogue->protocol->echo && exchange_asks_identity(sync->dialogue, line->bytes);
}

/* Keeps what came instead of the identity, if it was all that came. */
static void note_other(struct sync *sync, const struct line *line)
{
    char shown[DIALOGUE_IDENTITY];

    if (is_echo(sync, line))
        return;
    sync->lines++;
    printable(line->bytes, line->count, shown, sizeof shown);
    if (sync->lines > 1 || !is_undamaged(line))
        sync->repeated = 0;
    else if (strcmp(shown, sync->other) == 0)
        sync->repeated++;
    else
        sync->repeated = 1;
    memcpy(sync->other, shown, sizeof shown);
}

/* Whether the message has ended and nothing of it is left. */
static bool is_all_taken(const struct sync *sync)
{
    return sync->ended && sync->begin == sync->dialogue->input.count;
}

/* Waits for the identity; everything else is late. */
static enum outcome await_identity(struct sync *sync)
{
    struct line line;

    for (;;) {
        enum outcome outcome = next_line(sync, sync->exchange.limit, &line);

        if (outcome != SYNC_DONE)
            return outcome;
        strip_head(sync, &line);
        if (is_identity(sync, &line))
            break;
        note_other(sync, &line);
        if (deadline_passed(sync->exchange.limit) || is_all_taken(sync))
            return SYNC_AGAIN;
    }
    sync->dialogue->unanswered--;
    sync->repeated = 0;
    sync->exchange.done_at = monotonic_now();
    snprintf(sync->dialogue->identity, sizeof sync->dialogue->identity, "%s", line.bytes);
    return SYNC_DONE;
}

/* Whether what has come behind the last line is exactly the prompt. */
static bool is_prompt_there(const struct sync *sync)
{
    const struct buffer *input = &sync->dialogue->input;
    const char *prompt = sync->dialogue->protocol->prompt;
    size_t count = input->count - sync->begin;

    return count == strlen(prompt) && memcmp(input->bytes + sync->begin, prompt, count) == 0;
}

/*
 * Behind the identity nothing may come but the answers to identity queries
 * sent before, and the prompt. One that never comes was lost with its query.
 */
static enum outcome settle(struct sync *sync)
{
    const struct protocol *protocol = sync->dialogue->protocol;
    struct line line;

    for (;;) {
        bool waiting = sync->dialogue->unanswered > 0 || !is_prompt_there(sync);
        struct deadline silence = deadline_in(waiting ? protocol->reply_ms : protocol->quiet_ms);
        enum outcome outcome;

        if (deadline_passed(sync->deadline))
            return out_of_time(sync);
        if (read_line(sync, &line)) {
            strip_head(sync, &line);
            if (is_echo(sync, &line) && sync->dialogue->unanswered > 0)
                continue;
            if (!is_identity(sync, &line) || sync->dialogue->unanswered == 0)
                return SYNC_AGAIN;
            sync->dialogue->unanswered--;
            continue;
        }
        if (sync->ended)
            return is_prompt_there(sync) ? SYNC_DONE : SYNC_AGAIN;
        forget_lines(sync);
        outcome = receive(sync, silence);
        if (outcome == SYNC_LOST)
            return outcome;
        if (outcome == SYNC_AGAIN && !deadline_passed(silence))
            return out_of_time(sync);
        if (outcome == SYNC_AGAIN)
            return is_prompt_there(sync) ? SYNC_DONE : SYNC_AGAIN;
    }
}

static enum outcome ask_identity(struct sync *sync)
{
    struct dialogue *dialogue = sync->dialogue;
    const struct protocol *protocol = dialogue->protocol;
    enum outcome outcome;

    sync->exchange =
        exchange_begin(protocol->identity_query, true, protocol->reply_ms, sync->deadline);
    link_damaged(dialogue->link);
    dialogue->input.count = sync->begin = sync->looked = sync->lines = 0;
    sync->exchange.sent = true;
    sync->exchange.sent_at = monotonic_now();
    if (!exchange_send(dialogue, protocol->identity_query, protocol->command_terminator,
                       sync->exchange.limit, sync_failure(sync)))
        return SYNC_LOST;
    sync->dialogue->unanswered++;
    outcome = await_identity(sync);
    if (outcome == SYNC_DONE)
        outcome = settle(sync);
    if (outcome == SYNC_DONE && link_damaged(dialogue->link))
        outcome = SYNC_AGAIN;
    return outcome;
}

/* Shows the identity query with the identity, or with what came instead of it. */
static void show(struct sync *sync, enum outcome outcome)
{
    struct exchange *exchange = &sync->exchange;
    struct failure shown = exchange->failure;
    const char *text = outcome == SYNC_DONE ? sync->dialogue->identity : sync->other;

    if (outcome == SYNC_AGAIN && sync->lines == 0)
        failure_set(&exchange->failure, FAILURE_TIMEOUT, NULL, "an identity", "no reply");
    else if (outcome == SYNC_AGAIN)
        failure_set(&exchange->failure, FAILURE_UNEXPECTED_REPLY, NULL, "an identity alone",
                    "not in step");
    exchange->has_reply = outcome == SYNC_DONE || sync->lines > 0;
    exchange->reply = (struct reply) { text, strlen(text) };
    exchange_trace(sync->dialogue, exchange);
    exchange->failure = shown;
}

/* Clears by the link's own means, where it has any: what was asked before is then void. */
static bool clear_link(struct sync *sync)
{
    struct dialogue *dialogue = sync->dialogue;
    struct failure *failure = sync_failure(sync);

    if (!link_clear(dialogue->link, sync->deadline, failure)) {
        if (failure->code == FAILURE_NONE)
            return true;
        exchange_close(dialogue);
        return false;
    }
    if (link_marks_end(dialogue->link)) {
        dialogue->half_sent = false;
        dialogue->unanswered = 0;
    }
    return true;
}

/* Clears by whatever means there are, and ends a message that may have gone out in part. */
static bool clear(struct sync *sync)
{
    struct dialogue *dialogue = sync->dialogue;
    const struct protocol *protocol = dialogue->protocol;
    struct failure *failure = sync_failure(sync);

    if (!clear_link(sync))
        return false;
    if (dialogue->half_sent &&
        !exchange_send(dialogue, "", protocol->command_terminator, sync->deadline, failure))
        return false;
    dialogue->half_sent = false;
    return protocol->clear[0] == '\0' ||
           exchange_send(dialogue, protocol->clear, "", sync->deadline, failure);
}

/* Whether what came can be nothing but the identity of another instrument. */
static bool is_wrong_identity(const struct sync *sync)
{
    char warning[64];

    if (sync->repeated == 0)
        return false;
    return sync->repeated > 1 ||
           (sync->dialogue->protocol->framing == FRAMING_488 &&
            identity_check(sync->other, strlen(sync->other), warning, sizeof warning, NULL));
}

static bool give_up(struct sync *sync, struct failure *failure)
{
    if (is_wrong_identity(sync) && fits_profile(sync->dialogue, sync->other))
        return failure_set(failure, FAILURE_WRONG_IDENTITY, NULL, sync->dialogue->identity,
                           "'%s', another unit; restart gradusd if it was exchanged on purpose",
                           sync->other);
    if (is_wrong_identity(sync))
        return failure_set(failure, FAILURE_WRONG_IDENTITY, NULL, "the identity in its profile",
                           "'%s'", sync->other);
    if (sync->other[0] != '\0')
        return failure_set(failure, FAILURE_UNEXPECTED_REPLY, NULL, "the identity in its profile",
                           "'%s', and not in step", sync->other);
    return failure_set(failure, FAILURE_TIMEOUT, NULL, "an identity", "no reply");
}

bool dialogue_synchronise(struct dialogue *dialogue, struct deadline deadline,
                          struct failure *failure)
{
    struct sync sync = { .dialogue = dialogue, .deadline = deadline };
    enum outcome outcome = clear(&sync) ? SYNC_AGAIN : SYNC_LOST;

    for (int i = 0; i < ATTEMPTS && outcome == SYNC_AGAIN; i++) {
        if (i > 0 && (deadline_passed(deadline) || is_wrong_identity(&sync)))
            break;
        if (i > 0 && link_marks_end(dialogue->link) && !clear_link(&sync))
            outcome = SYNC_LOST;
        else
            outcome = drain(&sync);
        if (outcome != SYNC_DONE)
            break;
        outcome = ask_identity(&sync);
        show(&sync, outcome);
    }
    dialogue->input.count = 0;
    if (outcome == SYNC_DONE)
        return true;
    if (outcome == SYNC_AGAIN)
        return give_up(&sync, failure);
    return failure_set(failure, sync_failure(&sync)->code, NULL, sync_failure(&sync)->expected,
                       "%s", sync_failure(&sync)->what);
}
