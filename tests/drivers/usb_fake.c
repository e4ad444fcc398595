/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "usb_fake.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { PENDING_TIMES = 3 };

void fake_begin(struct fake *fake)
{
    *fake = (struct fake) { .gone_at = -1 };
    fake->answer = malloc(FAKE_ROOM);
    fake->wire = malloc(FAKE_ROOM);
    fake->capabilities[0] = USBTMC_SUCCESS;
    fake->capabilities[14] = 2;
    if (!fake->answer || !fake->wire)
        abort();
}

void fake_end(struct fake *fake)
{
    free(fake->answer);
    free(fake->wire);
}

bool fault_is_harmless(enum fake_fault fault)
{
    return fault == FAULT_NONE || fault >= FAULT_NO_END;
}

void fake_say(struct fake *fake, const char *name, const char *text)
{
    size_t i = 0;

    while (fake->said[i][0])
        i++;
    fake->said[i][0] = name;
    fake->said[i][1] = text;
}

static bool is_gone(struct fake *fake)
{
    return fake->calls++ >= fake->gone_at && fake->gone_at >= 0;
}

static void queue_answer(struct fake *fake, const char *text, size_t count)
{
    if (!fake->keeps_answers)
        fake->answer_count = 0;
    memcpy(fake->answer + fake->answer_count, text, count);
    fake->answer_count += count;
}

static const char *said(const struct fake *fake, size_t count)
{
    for (size_t i = 0; i < 4 && fake->said[i][0]; i++)
        if (strlen(fake->said[i][0]) == count &&
            memcmp(fake->message, fake->said[i][0], count) == 0)
            return fake->said[i][1];
    return NULL;
}

/* What ends in a question mark is a query, anything else is a command. */
static void execute(struct fake *fake)
{
    char text[1024];
    size_t count = strcspn((const char *)fake->message, "?\n");
    unsigned length;

    if (fake->message[count] != '?')
        return;
    if (sscanf((const char *)fake->message, "block %u?", &length) == 1) {
        if (!fake->keeps_answers)
            fake->answer_count = 0;
        fake->answer_count += (size_t)sprintf((char *)fake->answer, "#7%07u", length);
        memset(fake->answer + fake->answer_count, '\n', length);
        fake->answer_count += length;
        fake->answer[fake->answer_count++] = '\n';
        return;
    }
    snprintf(text, sizeof text, "answer to %.*s\n", (int)count, (const char *)fake->message);
    if (said(fake, count))
        strcpy(text, said(fake, count));
    queue_answer(fake, text, strlen(text));
}

/* The answer to one message of those that are queued. */
static size_t next_answer(const struct fake *fake)
{
    const unsigned char *end;

    if (!fake->keeps_answers)
        return fake->answer_count;
    end = memchr(fake->answer, '\n', fake->answer_count);
    return end ? (size_t)(end - fake->answer) + 1 : 0;
}

static void put_transfer(struct fake *fake, uint8_t tag, const unsigned char *data, size_t count,
                         bool end)
{
    usbtmc_out_header(fake->wire, tag, (uint32_t)count, end);
    fake->wire[0] = 2;
    memcpy(fake->wire + USBTMC_HEADER, data, count);
    fake->wire_count = USBTMC_HEADER + count;
    fake->wire_taken = 0;
    fake->wire_open = fake->wire_ends = true;
    fake->late = fake->stuck = fake->overflows = fake->empty_first = false;
}

/* Faults of the bytes themselves. */
static void spoil_bytes(struct fake *fake)
{
    unsigned char *wire = fake->wire;

    switch (fake->fault) {
    case FAULT_TAG:
        wire[1] = wire[1] == 1 ? 255 : (unsigned char)(wire[1] - 1);
        wire[2] = (unsigned char)~wire[1];
        break;
    case FAULT_INVERSE:
        wire[2] ^= 1;
        break;
    case FAULT_MESSAGE:
        wire[0] = 127;
        break;
    case FAULT_OVERSIZE:
        wire[7] = 0xff;
        break;
    case FAULT_EMPTY:
        memset(wire + 4, 0, 4);
        break;
    case FAULT_UNDERSIZE:
        wire[4] = (unsigned char)(wire[4] - 8);
        break;
    case FAULT_ATTRIBUTE:
        wire[8] |= 0x80;
        break;
    default:
        break;
    }
}

/* Faults of how they come. */
static void spoil(struct fake *fake)
{
    spoil_bytes(fake);
    switch (fake->fault) {
    case FAULT_LATE:
        fake->late = true;
        break;
    case FAULT_SHORT:
        fake->wire_count -= 4;
        break;
    case FAULT_HEADER:
        fake->wire_count = 11;
        break;
    case FAULT_TRAILING:
        memset(fake->wire + fake->wire_count, 'x', 3 * (size_t)FAKE_PACKET);
        fake->wire_count += 3 * (size_t)FAKE_PACKET;
        break;
    case FAULT_STUCK:
        fake->stuck = true;
        break;
    case FAULT_HALT_IN:
        fake->halted_in = true;
        break;
    case FAULT_OVERFLOW:
        fake->overflows = true;
        break;
    case FAULT_NO_END:
        fake->wire_ends = fake->wire_count % FAKE_PACKET != 0;
        break;
    case FAULT_EMPTY_FIRST:
        fake->empty_first = true;
        break;
    case FAULT_ALIGN:
        memset(fake->wire + fake->wire_count, 0, 3);
        fake->wire_count += 3;
        break;
    default:
        break;
    }
    fake->fault = FAULT_NONE;
}

/* How many bytes there are up to the term char that was asked for, with it; 0: it is not there. */
static size_t ends_at_term_char(const struct fake *fake)
{
    const unsigned char *at = fake->never_ends && fake->term_char != USBTMC_NO_TERM_CHAR
                                  ? memchr(fake->answer, fake->term_char, fake->answer_count)
                                  : NULL;
    return at ? (size_t)(at - fake->answer) + 1 : 0;
}

static void answer_request(struct fake *fake, uint8_t tag, size_t asked)
{
    size_t ended = ends_at_term_char(fake);
    size_t whole = next_answer(fake);
    size_t count = whole < asked ? whole : asked;

    if (fake->split && count > fake->split)
        count = fake->split;
    if (fake->fault == FAULT_SILENT) {
        fake->fault = FAULT_NONE;
        fake->answer_count = 0;
        return;
    }
    if (count == 0)
        return;
    if (ended)
        count = ended;
    put_transfer(fake, tag, fake->answer, count, count == whole && !fake->never_ends);
    fake->wire[8] |= ended ? 2 : 0;
    memmove(fake->answer, fake->answer + count, fake->answer_count - count);
    fake->answer_count -= count;
    spoil(fake);
}

void fake_leave(struct fake *fake, const char *text, uint8_t tag)
{
    put_transfer(fake, tag, (const unsigned char *)text, strlen(text), true);
}

static size_t size_in(const unsigned char *bytes)
{
    return bytes[4] | (size_t)bytes[5] << 8 | (size_t)bytes[6] << 16 | (size_t)bytes[7] << 24;
}

static enum pipe_result fake_bulk_out(void *self, const unsigned char *bytes, size_t count,
                                      size_t *sent, struct deadline deadline)
{
    struct fake *fake = self;

    *sent = 0;
    if (is_gone(fake))
        return PIPE_GONE;
    if (deadline_passed(deadline))
        return PIPE_TIMEOUT;
    if (fake->fault == FAULT_HALT_OUT && bytes[0] == 1) {
        fake->fault = FAULT_NONE;
        fake->halted_out = true;
    }
    if (fake->halted_out)
        return PIPE_STALL;
    if (fake->fault == FAULT_HALF_OUT && bytes[0] == 1) {
        fake->fault = FAULT_NONE;
        *sent = 14;
        return PIPE_TIMEOUT;
    }
    *sent = count;
    if (bytes[0] == 2) {
        fake->requests++;
        fake->term_char = bytes[8] & 2 ? bytes[9] : USBTMC_NO_TERM_CHAR;
        answer_request(fake, bytes[1], size_in(bytes));
        return PIPE_DONE;
    }
    if (fake->message_count + size_in(bytes) >= sizeof fake->message)
        abort();
    memcpy(fake->message + fake->message_count, bytes + USBTMC_HEADER, size_in(bytes));
    fake->message_count += size_in(bytes);
    if (bytes[8] & 1) {
        fake->message[fake->message_count] = '\0';
        execute(fake);
        fake->messages++;
        fake->message_count = 0;
    }
    return PIPE_DONE;
}

static enum pipe_result fake_bulk_in(void *self, unsigned char *bytes, size_t capacity,
                                     size_t *count, struct deadline deadline)
{
    struct fake *fake = self;
    size_t left = fake->wire_count - fake->wire_taken;

    *count = 0;
    if (is_gone(fake))
        return PIPE_GONE;
    if (capacity == 0 || capacity % FAKE_PACKET)
        abort();
    if (fake->halted_in)
        return PIPE_STALL;
    if (!fake->wire_open || deadline_passed(deadline))
        return PIPE_TIMEOUT;
    if (fake->late) {
        fake->late = false;
        return PIPE_TIMEOUT;
    }
    if (fake->empty_first) {
        fake->empty_first = false;
        return PIPE_DONE;
    }
    if (fake->overflows) {
        fake->overflows = fake->wire_open = false;
        return PIPE_OVERFLOW;
    }
    if (fake->stuck)
        left /= 2;
    *count = left < capacity ? left : capacity;
    memcpy(bytes, fake->wire + fake->wire_taken, *count);
    fake->wire_taken += *count;
    if (fake->stuck) {
        fake->stuck = false;
        return PIPE_TIMEOUT;
    }
    if (*count == capacity) {
        fake->wire_open = fake->wire_ends || fake->wire_taken < fake->wire_count;
        return PIPE_DONE;
    }
    fake->wire_open = false;
    return PIPE_DONE;
}

static void forget(struct fake *fake)
{
    fake->answer_count = fake->message_count = 0;
    fake->wire_open = false;
}

static unsigned char initiate(struct fake *fake, enum fake_manner manner, bool clear)
{
    switch (manner) {
    case MANNER_NOT_IN_PROGRESS:
        return USBTMC_NOT_IN_PROGRESS;
    case MANNER_FAILED:
        return USBTMC_FAILED;
    case MANNER_PENDING:
        fake->pending = PENDING_TIMES;
        break;
    default:
        fake->pending = 0;
        break;
    }
    if (clear && manner != MANNER_DRAIN)
        forget(fake);
    return USBTMC_SUCCESS;
}

/* A device that wants bulk-in read says so while there is something in it. */
static void check(struct fake *fake, enum fake_manner manner, unsigned char *bytes, bool clear)
{
    if (fake->pending > 0) {
        fake->pending--;
        bytes[0] = USBTMC_PENDING;
    } else if (manner == MANNER_DRAIN && fake->wire_open) {
        fake->late = false;
        bytes[0] = USBTMC_PENDING;
        bytes[1] = 1;
    } else {
        bytes[0] = USBTMC_SUCCESS;
        if (clear)
            forget(fake);
    }
}

/* By bRequest; false: stalls. */
static bool serve(struct fake *fake, const struct usb_setup *setup, unsigned char *bytes)
{
    switch (setup->request) {
    case 0:
        bytes[0] = setup->type == 0x82 && fake->halted_in;
        return true;
    case 1:
        fake->aborts++;
        bytes[0] = initiate(fake, fake->abort, false);
        fake->message_count = 0;
        return fake->abort != MANNER_STALL;
    case 3:
        fake->aborts++;
        bytes[0] = initiate(fake, fake->abort, false);
        return fake->abort != MANNER_STALL;
    case 2:
    case 4:
        check(fake, fake->abort, bytes, false);
        return true;
    case 5:
        fake->clears++;
        bytes[0] = initiate(fake, fake->clear, true);
        fake->halted_out = fake->clear != MANNER_STALL;
        return fake->clear != MANNER_STALL;
    case 6:
        check(fake, fake->clear, bytes, true);
        return true;
    case 7:
        memcpy(bytes, fake->capabilities, sizeof fake->capabilities);
        return true;
    case 160:
    case 161:
        fake->remote = setup->request == 160;
        bytes[0] = USBTMC_SUCCESS;
        return true;
    default:
        return false;
    }
}

static enum pipe_result fake_control(void *self, const struct usb_setup *setup,
                                     unsigned char *bytes, size_t *count, struct deadline deadline)
{
    struct fake *fake = self;

    *count = 0;
    if (is_gone(fake))
        return PIPE_GONE;
    if (deadline_passed(deadline))
        return PIPE_TIMEOUT;
    memset(bytes, 0, setup->length);
    if (!serve(fake, setup, bytes))
        return PIPE_STALL;
    *count = setup->length;
    return PIPE_DONE;
}

static enum pipe_result fake_clear_halt(void *self, uint8_t endpoint, struct deadline deadline)
{
    struct fake *fake = self;

    if (is_gone(fake))
        return PIPE_GONE;
    if (deadline_passed(deadline))
        return PIPE_TIMEOUT;
    if (endpoint == FAKE_IN)
        fake->halted_in = false;
    else
        fake->halted_out = false;
    return PIPE_DONE;
}

static void fake_pause(void *self, struct deadline deadline)
{
    (void)self;
    (void)deadline;
}

struct usb_pipe fake_pipe(struct fake *fake)
{
    static const struct usb_pipe_ops ops = {
        .bulk_out = fake_bulk_out,
        .bulk_in = fake_bulk_in,
        .control = fake_control,
        .clear_halt = fake_clear_halt,
        .pause = fake_pause,
    };

    return (struct usb_pipe) { .ops = &ops,
                               .device = fake,
                               .usb488 = true,
                               .out = FAKE_OUT,
                               .in = FAKE_IN,
                               .in_packet = FAKE_PACKET };
}
