/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Messages. An answer is asked for with one request for much more than it can
 * be (as Linux's own driver does: some devices send one header for the whole
 * answer, however often they are asked), received to its end and checked before
 * any byte of it is handed out. A term char is asked for only by
 * usbtmc_end_at(): a newline inside a block would end it.
 */
#include "usbtmc.h"

#include "usbtmc_priv.h"

#include <stdlib.h>
#include <string.h>

enum {
    MOST_ASKED = 1 << 20,  /* bytes of one answer; longer ones come in several */
    OUT_PART = 1 << 16,    /* bytes of a message in one transfer */
    READ_PART = 1 << 20,   /* bytes received at once: usbfs_memory_mb lends 16 MiB to all */
    END_MS = 50,           /* for the packet behind an answer that fills its last one */
    MOST_RESERVE_MS = 100, /* of a read's time kept for tidying */
    CAPABILITIES_MS = 1000,
    PRESENT_MS = 100,
    CLOSE_MS = 200
};

/* Standard request to the device itself. */
static const struct usb_setup get_status = { .type = 0x80, .request = 0, .length = 2 };

static struct deadline with_reserve(struct deadline deadline)
{
    double quarter = deadline_left_ms(deadline) / 4;
    double reserve = quarter < MOST_RESERVE_MS ? quarter : MOST_RESERVE_MS;

    return (struct deadline) { moment_plus(deadline.at, duration_of_ms(-reserve)) };
}

/* A device that only misunderstands what it can do is used without. */
static bool read_capabilities(struct usbtmc *session, struct deadline deadline,
                              struct failure *failure)
{
    unsigned char reply[USBTMC_LONGEST_REPLY];
    size_t count;
    struct deadline limit = deadline_sooner(deadline, deadline_in(CAPABILITIES_MS));
    enum pipe_result result = usbtmc_ask(session, USBTMC_GET_CAPABILITIES, 0, reply, &count, limit);

    if (result == PIPE_GONE)
        return usbtmc_failed(session, result, "open", failure);
    if (result == PIPE_DONE)
        usbtmc_read_capabilities(reply, count, &session->capabilities);
    return true;
}

/* Remote control is a help, not a need: a device that refuses is used as it is. */
static void read_remote(struct usbtmc *session, struct deadline deadline)
{
    unsigned char reply[USBTMC_LONGEST_REPLY];
    size_t count;

    if (session->pipe.usb488 && session->capabilities.ren_control)
        session->remote =
            usbtmc_ask(session, USBTMC_REN_CONTROL, 1, reply, &count, deadline) == PIPE_DONE &&
            count >= 1 && reply[0] == USBTMC_SUCCESS;
}

struct usbtmc *usbtmc_open(const struct usb_pipe *pipe, struct deadline deadline,
                           struct failure *failure)
{
    struct usbtmc *session = calloc(1, sizeof *session);

    if (!session) {
        failure_no_memory(failure, "a USB session");
        return NULL;
    }
    session->pipe = *pipe;
    session->term_char = USBTMC_NO_TERM_CHAR;
    session->wire = WIRE_UNKNOWN;
    if (!read_capabilities(session, deadline, failure) ||
        !usbtmc_clear(session, deadline, failure)) {
        usbtmc_close(session);
        return NULL;
    }
    read_remote(session, deadline);
    return session;
}

void usbtmc_end_at(struct usbtmc *session, unsigned char byte)
{
    if (session->capabilities.term_char)
        session->term_char = byte;
}

/* Nothing of an earlier answer may be left when a message goes out. */
static bool ready_to_write(struct usbtmc *session, struct deadline deadline,
                           struct failure *failure)
{
    bool unread = session->midway || session->begin < session->end;

    if (session->owed || session->torn || unread)
        return usbtmc_clear(session, deadline, failure);
    return usbtmc_tidy(session, deadline, failure);
}

/* After a transfer that failed: what the device is left with is taken away while there is time. */
static void give_up(struct usbtmc *session, enum wire_state wire, struct deadline deadline)
{
    session->wire = wire;
    session->owed = true;
    if (!session->gone)
        usbtmc_tidy(session, deadline, NULL);
}

static bool send_transfer(struct usbtmc *session, const unsigned char *bytes, size_t count,
                          struct deadline deadline, struct failure *failure)
{
    size_t sent = 0;
    enum pipe_result result = session->pipe.ops->bulk_out(session->pipe.device, bytes, count, &sent,
                                                          with_reserve(deadline));

    if (result == PIPE_DONE && sent == count)
        return true;
    if (result == PIPE_DONE || result == PIPE_TIMEOUT)
        failure_set(failure, FAILURE_TIMEOUT, NULL, NULL,
                    "the device took only %zu of %zu bytes in time", sent, count);
    else
        usbtmc_failed(session, result, "write", failure);
    give_up(session, result == PIPE_TIMEOUT ? WIRE_OUT : WIRE_UNKNOWN, deadline);
    return false;
}

static bool send_message(struct usbtmc *session, const char *bytes, size_t count,
                         unsigned char *part, struct deadline deadline, struct failure *failure)
{
    for (size_t done = 0; done < count;) {
        size_t length = count - done < OUT_PART ? count - done : OUT_PART;
        size_t whole = usbtmc_out_length(length);

        session->tag = usbtmc_next_tag(session->tag);
        memset(part, 0, whole);
        usbtmc_out_header(part, session->tag, (uint32_t)length, done + length == count);
        memcpy(part + USBTMC_HEADER, bytes + done, length);
        if (!send_transfer(session, part, whole, deadline, failure))
            return false;
        done += length;
    }
    return true;
}

bool usbtmc_write(struct usbtmc *session, const char *bytes, size_t count, struct deadline deadline,
                  struct failure *failure)
{
    unsigned char *part;
    bool sent;

    if (!ready_to_write(session, deadline, failure))
        return false;
    if (count == 0)
        return true;
    part = malloc(usbtmc_out_length(count < OUT_PART ? count : OUT_PART));
    if (!part)
        return failure_no_memory(failure, "a message");
    sent = send_message(session, bytes, count, part, deadline, failure);
    free(part);
    return sent;
}

/* An answer under way; the bytes of its transfer are the session's. */
struct arrival {
    struct usbtmc_request request;
    struct usbtmc_answer answer;
    bool ended; /* by a short packet */
    struct deadline limit;
};

/* The transfer as the wire has it: bytes without a sign. */
static unsigned char *wire_bytes(const struct usbtmc *session)
{
    return (unsigned char *)session->transfer.bytes;
}

/* Receives `wanted` bytes, a multiple of the packet size, or less when the device ends there. */
static enum pipe_result receive(struct usbtmc *session, struct arrival *arrival, size_t wanted,
                                struct deadline limit, struct failure *failure)
{
    size_t count = 0;
    enum pipe_result result;

    if (!buffer_reserve(&session->transfer, session->transfer.count + wanted, failure))
        return PIPE_FAILED;
    result = session->pipe.ops->bulk_in(
        session->pipe.device, wire_bytes(session) + session->transfer.count, wanted, &count, limit);
    if (result != PIPE_DONE) {
        /* Bytes of a transfer that failed are gone, and with them the answer. */
        session->torn = session->torn || count > 0 || session->transfer.count > 0;
        return result;
    }
    session->transfer.count += count;
    arrival->ended = count < wanted;
    return result;
}

/* The first packet tells what is coming. An empty one in its place is passed over once. */
static enum pipe_result receive_first(struct usbtmc *session, struct arrival *arrival,
                                      struct failure *failure)
{
    enum pipe_result result = PIPE_DONE;

    for (int i = 0; i < 2 && result == PIPE_DONE && session->transfer.count == 0; i++)
        do {
            result = receive(session, arrival, session->pipe.in_packet, arrival->limit, failure);
        } while (result == PIPE_DONE && !arrival->ended && session->transfer.count < USBTMC_HEADER);
    return result;
}

/* The rest of the data, in parts that are whole packets. */
static enum pipe_result receive_data(struct usbtmc *session, struct arrival *arrival,
                                     struct failure *failure)
{
    size_t packet = session->pipe.in_packet;
    size_t whole = USBTMC_HEADER + (size_t)arrival->answer.size;
    enum pipe_result result = PIPE_DONE;

    while (result == PIPE_DONE && !arrival->ended && session->transfer.count < whole) {
        size_t rest = (whole - session->transfer.count + packet - 1) / packet * packet;
        size_t most = (READ_PART + packet - 1) / packet * packet;

        result = receive(session, arrival, rest < most ? rest : most, arrival->limit, failure);
    }
    return result;
}

/*
 * An answer that fills its last packet is followed by a short one (USB 2.0
 * 5.8.3). Some devices forget it: the data are whole all the same, and the
 * transfer is aborted before anything else is asked.
 */
static bool receive_end(struct usbtmc *session, struct arrival *arrival, struct deadline deadline,
                        struct failure *failure)
{
    struct deadline limit = deadline_sooner(deadline, deadline_in(END_MS));
    enum pipe_result result;

    if (arrival->ended)
        return true;
    result = receive(session, arrival, session->pipe.in_packet, limit, failure);
    if (result == PIPE_DONE && arrival->ended)
        return true;
    if (result == PIPE_TIMEOUT) {
        session->torn = false;
        session->wire = WIRE_IN;
        return true;
    }
    if (result == PIPE_DONE)
        return failure_set(failure, FAILURE_BABBLE, NULL, NULL,
                           "the device sends on behind the %lu bytes that it announced",
                           (unsigned long)arrival->answer.size);
    return usbtmc_failed(session, result, "read", failure);
}

/* Ends a request that brought no whole answer; without a failure set it was only the time. */
static enum link_result no_answer(struct usbtmc *session, enum pipe_result result,
                                  struct deadline deadline, struct failure *failure)
{
    bool quiet = result == PIPE_TIMEOUT && !session->torn;

    if (result == PIPE_TIMEOUT && session->torn)
        failure_set(failure, FAILURE_TIMEOUT, NULL, "a whole answer",
                    "only %zu bytes of a USB transfer came", session->transfer.count);
    else if (result != PIPE_TIMEOUT && result != PIPE_DONE)
        usbtmc_failed(session, result, "read", failure);
    give_up(session, result == PIPE_TIMEOUT || result == PIPE_DONE ? WIRE_IN : WIRE_UNKNOWN,
            deadline);
    if (session->gone)
        usbtmc_failed(session, PIPE_GONE, "read", failure);
    else if (quiet && session->torn)
        failure_set(failure, FAILURE_TIMEOUT, NULL, "a whole answer",
                    "its beginning came too late and is lost");
    else if (quiet)
        return LINK_QUIET;
    return LINK_BROKEN;
}

/*
 * Whether there is more behind the data than filler, which is less than a
 * packet (Linux 6.1, usbtmc.c): a device that announces too little would else
 * cut a number short.
 */
static bool has_surplus(const struct usbtmc *session, const struct arrival *arrival)
{
    size_t aligned = (USBTMC_HEADER + (size_t)arrival->answer.size + 3) / 4 * 4;

    for (size_t i = aligned; i < session->transfer.count; i++)
        if (session->transfer.bytes[i] != 0)
            return true;
    return false;
}

static bool is_whole(const struct usbtmc *session, const struct arrival *arrival,
                     struct failure *failure)
{
    if (has_surplus(session, arrival))
        return failure_set(failure, FAILURE_UNEXPECTED_REPLY, NULL, NULL,
                           "USB answer goes on behind the %lu bytes that it announced",
                           (unsigned long)arrival->answer.size);
    if (session->transfer.count >= USBTMC_HEADER + (size_t)arrival->answer.size)
        return true;
    return failure_set(failure, FAILURE_UNEXPECTED_REPLY, NULL, NULL,
                       "USB answer stopped after %zu of the %lu bytes that it announced",
                       session->transfer.count - USBTMC_HEADER,
                       (unsigned long)arrival->answer.size);
}

/* Takes in one transfer of the answer, to its end. */
static enum link_result read_in(struct usbtmc *session, struct arrival *arrival,
                                struct deadline deadline, struct failure *failure)
{
    enum pipe_result result = receive_first(session, arrival, failure);

    if (result != PIPE_DONE)
        return no_answer(session, result, deadline, failure);
    if (!usbtmc_in_header(wire_bytes(session), session->transfer.count, &arrival->request,
                          &arrival->answer, failure)) {
        session->torn = true;
        return no_answer(session, result, deadline, failure);
    }
    result = receive_data(session, arrival, failure);
    if (result != PIPE_DONE)
        return no_answer(session, result, deadline, failure);
    if (!is_whole(session, arrival, failure) || !receive_end(session, arrival, deadline, failure)) {
        session->torn = true;
        return no_answer(session, result, deadline, failure);
    }
    session->begin = USBTMC_HEADER;
    session->end = USBTMC_HEADER + arrival->answer.size;
    session->is_last = arrival->answer.end || arrival->answer.term_char_matched;
    session->midway = !session->is_last;
    /* Behind a term char there may be more of it, which must not be the next answer. */
    session->owed = session->is_last && !arrival->answer.end;
    return LINK_BYTES;
}

/* Asks for the answer, or for the next part of it. */
static enum link_result fetch(struct usbtmc *session, struct deadline deadline,
                              struct failure *failure)
{
    struct arrival arrival = { .limit = with_reserve(deadline) };
    unsigned char header[USBTMC_HEADER];

    session->transfer.count = 0;
    session->tag = usbtmc_next_tag(session->tag);
    arrival.request = (struct usbtmc_request) { .tag = session->tag,
                                                .size = MOST_ASKED,
                                                .term_char = session->term_char };
    usbtmc_in_request(header, &arrival.request);
    if (!send_transfer(session, header, sizeof header, deadline, failure))
        return LINK_BROKEN;
    return read_in(session, &arrival, deadline, failure);
}

static enum link_result ready_to_read(struct usbtmc *session, struct deadline deadline,
                                      struct failure *failure)
{
    struct failure own;

    failure_clear(&own);
    if (session->torn) {
        failure_set(failure, FAILURE_UNEXPECTED_REPLY, NULL, "a whole answer",
                    "a part of it is lost");
        return LINK_BROKEN;
    }
    if (deadline_passed(deadline))
        return LINK_QUIET;
    if (usbtmc_tidy(session, deadline, &own) && !session->torn)
        return LINK_BYTES;
    if (own.code == FAILURE_TIMEOUT)
        return LINK_QUIET;
    failure_set(failure, own.code ? own.code : FAILURE_UNEXPECTED_REPLY, NULL, own.expected, "%s",
                own.code ? own.what : "a part of the answer is lost");
    return LINK_BROKEN;
}

enum link_result usbtmc_read(struct usbtmc *session, char *bytes, size_t capacity, size_t *count,
                             bool *end, struct deadline deadline, struct failure *failure)
{
    enum link_result result = LINK_BYTES;
    size_t there;

    *end = false;
    if (session->begin == session->end) {
        result = ready_to_read(session, deadline, failure);
        if (result == LINK_BYTES)
            result = fetch(session, deadline, failure);
    }
    if (result != LINK_BYTES)
        return result;
    there = session->end - session->begin;
    *count = there < capacity ? there : capacity;
    memcpy(bytes, session->transfer.bytes + session->begin, *count);
    session->begin += *count;
    *end = session->is_last && session->begin == session->end;
    return LINK_BYTES;
}

bool usbtmc_present(struct usbtmc *session, struct failure *failure)
{
    unsigned char reply[2];
    size_t count = 0;

    if (!session->gone)
        session->gone = session->pipe.ops->control(session->pipe.device, &get_status, reply, &count,
                                                   deadline_in(PRESENT_MS)) == PIPE_GONE;
    return !session->gone || usbtmc_failed(session, PIPE_GONE, "look", failure);
}

void usbtmc_close(struct usbtmc *session)
{
    unsigned char reply[USBTMC_LONGEST_REPLY];
    size_t count;
    struct deadline deadline = deadline_in(CLOSE_MS);

    if (!session)
        return;
    if (!session->gone)
        usbtmc_tidy(session, deadline, NULL);
    if (!session->gone && session->remote)
        usbtmc_ask(session, USBTMC_GO_TO_LOCAL, 0, reply, &count, deadline);
    free(session->transfer.bytes);
    free(session);
}
