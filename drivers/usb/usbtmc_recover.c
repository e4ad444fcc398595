/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Taking back what went wrong on the bulk endpoints. An abort that does not
 * come to a clean end is followed by a device clear, and a device that
 * refuses even that is drained until it is silent.
 */
#include "usbtmc_priv.h"

enum {
    MOST_CHECKS = 100,  /* times a device may say that it is not done yet; as Linux has it */
    MOST_DRAINED = 256, /* reads in one draining */
    DRAIN_MS = 300,     /* for one read in draining; as there */
    SILENCE_MS = 50,    /* without a byte: drained */
    STEP_MS = 1000      /* for one control request */
};

enum { DRAIN_BUFFER = 16384 };

enum pipe_result usbtmc_ask(struct usbtmc *session, enum usbtmc_control control, uint8_t value,
                            unsigned char reply[USBTMC_LONGEST_REPLY], size_t *count,
                            struct deadline deadline)
{
    const struct usb_pipe *pipe = &session->pipe;
    struct deadline limit = deadline_sooner(deadline, deadline_in(STEP_MS));
    uint8_t index = pipe->interface;
    struct usb_setup setup;
    enum pipe_result result;

    if (control == USBTMC_INITIATE_ABORT_IN || control == USBTMC_CHECK_ABORT_IN)
        index = pipe->in;
    if (control == USBTMC_INITIATE_ABORT_OUT || control == USBTMC_CHECK_ABORT_OUT)
        index = pipe->out;
    setup = usbtmc_setup(control, value, index);
    *count = 0;
    result = pipe->ops->control(pipe->device, &setup, reply, count, limit);
    session->gone = session->gone || result == PIPE_GONE;
    return result;
}

static enum pipe_result clear_halt(struct usbtmc *session, uint8_t endpoint,
                                   struct deadline deadline)
{
    enum pipe_result result =
        session->pipe.ops->clear_halt(session->pipe.device, endpoint, deadline);

    session->gone = session->gone || result == PIPE_GONE;
    return result;
}

/*
 * A device clear takes bulk-out out of its halt only. Bulk-in is asked first,
 * for some devices lose count of their packets when they are cleared unhalted.
 */
static enum pipe_result release_in(struct usbtmc *session, struct deadline deadline)
{
    const struct usb_pipe *pipe = &session->pipe;
    const struct usb_setup get_status = { .type = 0x82, .index = pipe->in, .length = 2 };
    unsigned char reply[USBTMC_LONGEST_REPLY];
    size_t count = 0;
    enum pipe_result result = pipe->ops->control(pipe->device, &get_status, reply, &count,
                                                 deadline_sooner(deadline, deadline_in(STEP_MS)));

    if (result == PIPE_DONE && count >= 1 && (reply[0] & 1))
        return clear_halt(session, pipe->in, deadline);
    return result == PIPE_STALL ? PIPE_DONE : result;
}

/*
 * Reads bulk-in until a short packet (PIPE_DONE) or until nothing comes for
 * `wait_ms` (PIPE_TIMEOUT), and throws it away. A halted endpoint is empty.
 */
static enum pipe_result drain(struct usbtmc *session, double wait_ms, size_t *drained,
                              struct deadline deadline)
{
    unsigned char waste[DRAIN_BUFFER];
    size_t wanted = sizeof waste / session->pipe.in_packet * session->pipe.in_packet;

    for (int i = 0; i < MOST_DRAINED; i++) {
        struct deadline limit = deadline_sooner(deadline, deadline_in(wait_ms));
        size_t count = 0;
        enum pipe_result result =
            session->pipe.ops->bulk_in(session->pipe.device, waste, wanted, &count, limit);

        *drained += count;
        session->gone = session->gone || result == PIPE_GONE;
        if (result == PIPE_STALL)
            return clear_halt(session, session->pipe.in, deadline);
        if (result != PIPE_DONE || count < wanted)
            return result;
    }
    return PIPE_OVERFLOW;
}

/* Asks how far an abort or clear is, until it is done. False when it does not come to that. */
static bool wait_until_done(struct usbtmc *session, enum usbtmc_control check, size_t *drained,
                            struct deadline deadline)
{
    for (int i = 0; i < MOST_CHECKS && !deadline_passed(deadline); i++) {
        unsigned char reply[USBTMC_LONGEST_REPLY];
        size_t count;

        if (usbtmc_ask(session, check, 0, reply, &count, deadline) != PIPE_DONE)
            return false;
        switch (usbtmc_read_progress(check, reply, count)) {
        case USBTMC_DONE:
            return true;
        case USBTMC_WAIT:
            session->pipe.ops->pause(session->pipe.device, deadline);
            break;
        case USBTMC_DRAIN:
            if (drain(session, DRAIN_MS, drained, deadline) == PIPE_GONE)
                return false;
            break;
        default:
            return false;
        }
    }
    return false;
}

/* Takes back the request for an answer: INITIATE_ABORT_BULK_IN. */
static bool abort_in(struct usbtmc *session, struct deadline deadline)
{
    unsigned char reply[USBTMC_LONGEST_REPLY];
    size_t drained = 0;
    size_t count;
    bool done = false;

    if (usbtmc_ask(session, USBTMC_INITIATE_ABORT_IN, session->tag, reply, &count, deadline) !=
            PIPE_DONE ||
        count < 1)
        return false;
    if (reply[0] == USBTMC_FAILED)
        return true;
    if (reply[0] == USBTMC_SUCCESS)
        done = drain(session, DRAIN_MS, &drained, deadline) != PIPE_GONE &&
               wait_until_done(session, USBTMC_CHECK_ABORT_IN, &drained, deadline);
    /* An answer whose beginning is thrown away must not be read on with. */
    session->torn = session->torn || drained > 0;
    return done;
}

/* Takes back a transfer that the device did not take to its end: INITIATE_ABORT_BULK_OUT. */
static bool abort_out(struct usbtmc *session, struct deadline deadline)
{
    unsigned char reply[USBTMC_LONGEST_REPLY];
    size_t count;
    size_t drained = 0;

    if (usbtmc_ask(session, USBTMC_INITIATE_ABORT_OUT, session->tag, reply, &count, deadline) !=
            PIPE_DONE ||
        count < 1 || reply[0] != USBTMC_SUCCESS)
        return false;
    return wait_until_done(session, USBTMC_CHECK_ABORT_OUT, &drained, deadline) &&
           clear_halt(session, session->pipe.out, deadline) == PIPE_DONE;
}

/* The device clear itself, INITIATE_CLEAR. PIPE_STALL: the device does not do it. */
static enum pipe_result device_clear(struct usbtmc *session, struct deadline deadline)
{
    unsigned char reply[USBTMC_LONGEST_REPLY];
    size_t count;
    size_t drained = 0;
    enum pipe_result result =
        usbtmc_ask(session, USBTMC_INITIATE_CLEAR, 0, reply, &count, deadline);

    if (result != PIPE_DONE)
        return result;
    if (count < 1 || reply[0] != USBTMC_SUCCESS)
        return PIPE_STALL;
    if (!wait_until_done(session, USBTMC_CHECK_CLEAR, &drained, deadline))
        return session->gone ? PIPE_GONE : deadline_passed(deadline) ? PIPE_TIMEOUT : PIPE_STALL;
    result = clear_halt(session, session->pipe.out, deadline);
    return result == PIPE_DONE ? release_in(session, deadline) : result;
}

/* For a device without a clear: out of its halts, and read until it is silent. */
static enum pipe_result drain_all(struct usbtmc *session, struct deadline deadline)
{
    size_t drained = 0;
    enum pipe_result result = clear_halt(session, session->pipe.out, deadline);

    if (result == PIPE_DONE)
        result = clear_halt(session, session->pipe.in, deadline);
    for (int i = 0; i < MOST_CHECKS && result == PIPE_DONE; i++)
        result = drain(session, SILENCE_MS, &drained, deadline);
    if (result == PIPE_TIMEOUT && !deadline_passed(deadline))
        return PIPE_DONE;
    return result == PIPE_DONE ? PIPE_OVERFLOW : result;
}

bool usbtmc_clear(struct usbtmc *session, struct deadline deadline, struct failure *failure)
{
    enum pipe_result result;

    if (session->gone)
        return usbtmc_failed(session, PIPE_GONE, "clear", failure);
    session->wire = WIRE_UNKNOWN;
    session->begin = session->end = 0;
    result = device_clear(session, deadline);
    if (result == PIPE_STALL)
        result = drain_all(session, deadline);
    if (result != PIPE_DONE)
        return usbtmc_failed(session, result, "device clear", failure);
    session->wire = WIRE_IDLE;
    session->owed = session->torn = session->midway = false;
    return true;
}

bool usbtmc_tidy(struct usbtmc *session, struct deadline deadline, struct failure *failure)
{
    bool done = true;

    if (session->gone)
        return usbtmc_failed(session, PIPE_GONE, "abort", failure);
    if (deadline_passed(deadline) && session->wire != WIRE_IDLE)
        return usbtmc_failed(session, PIPE_TIMEOUT, "abort", failure);
    if (session->wire == WIRE_IN)
        done = abort_in(session, deadline);
    else if (session->wire == WIRE_OUT)
        done = abort_out(session, deadline);
    else if (session->wire == WIRE_UNKNOWN)
        done = false;
    if (!done)
        return usbtmc_clear(session, deadline, failure);
    session->wire = WIRE_IDLE;
    return true;
}

bool usbtmc_failed(struct usbtmc *session, enum pipe_result result, const char *doing,
                   struct failure *failure)
{
    switch (result) {
    case PIPE_TIMEOUT:
        return failure_set(failure, FAILURE_TIMEOUT, NULL, NULL, "%s: no time left", doing);
    case PIPE_STALL:
        return failure_set(failure, FAILURE_UNEXPECTED_REPLY, NULL, NULL,
                           "%s: refused by the device", doing);
    case PIPE_OVERFLOW:
        return failure_set(failure, FAILURE_BABBLE, NULL, NULL,
                           "%s: the device sent more than a packet holds", doing);
    case PIPE_GONE:
        session->gone = true;
        return failure_set(failure, FAILURE_DISCONNECTED, NULL, NULL,
                           "%s: the device was unplugged", doing);
    default:
        return failure_set(failure, FAILURE_SYSTEM, NULL, NULL,
                           "%s: this machine cannot do the transfer", doing);
    }
}
