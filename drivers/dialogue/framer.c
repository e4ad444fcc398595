/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "framer.h"

#include <string.h>

void framer_start_488(struct framer *framer, bool marks_end, size_t limit)
{
    *framer = (struct framer) { .limit = limit, .marks_end = marks_end, .state = FRAMER_ELEMENT };
}

void framer_start_line(struct framer *framer, const char *terminator, size_t limit)
{
    *framer = (struct framer) { .limit = limit, .terminator = terminator };
}

static enum frame invalid(struct failure *failure, const char *expected, const char *what)
{
    failure_set(failure, FAILURE_UNEXPECTED_REPLY, NULL, expected, "%s", what);
    return FRAME_INVALID;
}

/* NUL is how an overrun shows (Linux, n_tty.c), bytes above 7E are damaged characters. */
static bool is_text(unsigned char byte)
{
    return byte == '\t' || byte == '\n' || (byte >= 0x20 && byte <= 0x7e);
}

static enum frame not_text(unsigned char byte, size_t position, struct failure *failure)
{
    failure_set(failure, FAILURE_UNEXPECTED_REPLY, NULL, "characters of the ASCII code",
                "byte %02X hex at position %zu of the reply", byte, position + 1);
    return FRAME_INVALID;
}

static enum frame in_element(struct framer *framer, char c)
{
    if (c == ' ' || c == '\t')
        return FRAME_INCOMPLETE;
    framer->state = FRAMER_TEXT;
    if (c == '"' || c == '\'') {
        framer->state = FRAMER_STRING;
        framer->quote = c;
    } else if (c == '#') {
        framer->state = FRAMER_HASH;
    } else if (c == ',' || c == ';') {
        framer->state = FRAMER_ELEMENT;
    }
    return FRAME_INCOMPLETE;
}

static enum frame in_hash(struct framer *framer, char c, struct failure *failure)
{
    if (c == '0') {
        framer->state = FRAMER_INDEFINITE;
        if (!framer->marks_end)
            return invalid(failure, "a block with its length",
                           "indefinite block on a link that does not mark the end of messages");
        return FRAME_INCOMPLETE;
    }
    if (c >= '1' && c <= '9') {
        framer->state = FRAMER_LENGTH;
        framer->digits = c - '0';
        framer->block = 0;
        return FRAME_INCOMPLETE;
    }
    if (c == '\0' || !strchr("HhQqBb", c))
        return invalid(failure, "#H, #Q, #B or a block", "# followed by something else");
    framer->state = FRAMER_TEXT;
    return FRAME_INCOMPLETE;
}

static enum frame in_length(struct framer *framer, char c, struct failure *failure)
{
    if (c < '0' || c > '9')
        return invalid(failure, "digits", "length of a block is not a number");
    framer->block = framer->block * 10 + (size_t)(c - '0');
    if (--framer->digits > 0)
        return FRAME_INCOMPLETE;
    framer->state = framer->block ? FRAMER_BLOCK : FRAMER_TEXT;
    if (framer->position + 1 + framer->block <= framer->limit)
        return FRAME_INCOMPLETE;
    failure_set(failure, FAILURE_UNEXPECTED_REPLY, NULL, NULL,
                "reply announces a block of %zu bytes, and %zu are the limit", framer->block,
                framer->limit);
    return FRAME_INVALID;
}

/* One character outside blocks and strings: completes the message at NL. */
static enum frame in_text(struct framer *framer, char c, struct failure *failure)
{
    if (framer->state == FRAMER_RETURN)
        return c == '\n' ? FRAME_COMPLETE
                         : invalid(failure, "NL after CR", "CR in the middle of the reply");
    if (c == '\r') {
        framer->state = FRAMER_RETURN;
        return FRAME_INCOMPLETE;
    }
    if (c == '\n')
        return FRAME_COMPLETE;
    if (framer->state == FRAMER_ELEMENT)
        return in_element(framer, c);
    if (c == ',' || c == ';')
        framer->state = FRAMER_ELEMENT;
    return FRAME_INCOMPLETE;
}

static enum frame step(struct framer *framer, char c, struct failure *failure)
{
    if (!is_text((unsigned char)c) && c != '\r')
        return not_text((unsigned char)c, framer->position, failure);
    switch (framer->state) {
    case FRAMER_STRING:
        if (c == framer->quote)
            framer->state = FRAMER_TEXT;
        return FRAME_INCOMPLETE;
    case FRAMER_HASH:
        return in_hash(framer, c, failure);
    case FRAMER_LENGTH:
        return in_length(framer, c, failure);
    default:
        return in_text(framer, c, failure);
    }
}

/* Jumps over what is there of a block. */
static void skip_block(struct framer *framer, size_t count)
{
    size_t there = count - framer->position;
    size_t skip = there < framer->block ? there : framer->block;

    framer->position += skip;
    framer->block -= skip;
    if (framer->block == 0)
        framer->state = FRAMER_TEXT;
}

/* The link says that the message ends here: is it whole? */
static enum frame at_end(const struct framer *framer, const char *bytes, size_t count,
                         size_t *length, size_t *body, struct failure *failure)
{
    bool newline = framer->state == FRAMER_INDEFINITE && bytes[count - 1] == '\n';

    switch (framer->state) {
    case FRAMER_ELEMENT:
    case FRAMER_TEXT:
    case FRAMER_INDEFINITE:
        *length = count;
        *body = newline ? count - 1 : count;
        return FRAME_COMPLETE;
    default:
        return invalid(failure, NULL, "message ends inside a string or block");
    }
}

static enum frame too_long(const struct framer *framer, struct failure *failure)
{
    failure_set(failure, FAILURE_BABBLE, NULL, NULL, "no end of the reply within %zu bytes",
                framer->limit);
    return FRAME_INVALID;
}

static enum frame feed_488(struct framer *framer, const char *bytes, size_t count, bool end,
                           size_t *length, size_t *body, struct failure *failure)
{
    while (framer->position < count && framer->state != FRAMER_INDEFINITE) {
        bool returned = framer->state == FRAMER_RETURN;
        enum frame frame;

        if (framer->position >= framer->limit)
            return too_long(framer, failure);
        if (framer->state == FRAMER_BLOCK) {
            skip_block(framer, count);
            continue;
        }
        frame = step(framer, bytes[framer->position], failure);
        if (frame == FRAME_INVALID)
            return frame;
        framer->position++;
        if (frame == FRAME_COMPLETE) {
            *length = framer->position;
            *body = framer->position - (returned ? 2 : 1);
            return frame;
        }
    }
    if (count > framer->limit)
        return too_long(framer, failure);
    if (end)
        return at_end(framer, bytes, count, length, body, failure);
    return FRAME_INCOMPLETE;
}

/* The last byte of the terminator has come at `position`: is the rest there too? */
static enum frame line_ends(const struct framer *framer, const char *bytes, size_t *length,
                            size_t *body, struct failure *failure)
{
    size_t whole = strlen(framer->terminator);
    size_t end = framer->position + 1;

    if (end < whole || memcmp(bytes + end - whole, framer->terminator, whole) != 0)
        return invalid(failure, NULL, "end of line is not whole");
    *length = end;
    *body = end - whole;
    return FRAME_COMPLETE;
}

static enum frame feed_line(struct framer *framer, const char *bytes, size_t count, bool end,
                            size_t *length, size_t *body, struct failure *failure)
{
    char last = framer->terminator[strlen(framer->terminator) - 1];

    for (; framer->position < count; framer->position++) {
        unsigned char byte = (unsigned char)bytes[framer->position];

        if (framer->position >= framer->limit)
            return too_long(framer, failure);
        if (byte == (unsigned char)last)
            return line_ends(framer, bytes, length, body, failure);
        if (byte == 0 || byte > 0x7e)
            return not_text(byte, framer->position, failure);
    }
    if (!end)
        return FRAME_INCOMPLETE;
    *length = *body = count;
    return FRAME_COMPLETE;
}

enum frame framer_feed(struct framer *framer, const char *bytes, size_t count, bool end,
                       size_t *length, size_t *body, struct failure *failure)
{
    if (framer->terminator)
        return feed_line(framer, bytes, count, end, length, body, failure);
    return feed_488(framer, bytes, count, end, length, body, failure);
}

enum frame response_frame(const char *bytes, size_t count, bool end, size_t limit, size_t *length,
                          size_t *body, struct failure *failure)
{
    struct framer framer;

    framer_start_488(&framer, end, limit);
    return framer_feed(&framer, bytes, count, end, length, body, failure);
}
