/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What is read beside the messages: the status byte, and whether anybody is there. */
#include "usbtmc_priv.h"

enum {
    LARGEST_NOTICE = 1024, /* packet of an interrupt endpoint at most */
    MOST_NOTICES = 16,     /* others' passed over while waiting for ours */
    MOST_BUSY = 4,
    NOTICE_MS = 200, /* for a notification after the reply that promises it */
    PRESENT_MS = 100
};

/* Standard request to the device itself. */
static const struct usb_setup get_status = { .type = 0x80, .request = 0, .length = 2 };

static enum pipe_result read_notice(struct usbtmc *session, uint8_t tag, enum usbtmc_notice *notice,
                                    unsigned char *byte, struct deadline deadline)
{
    unsigned char bytes[LARGEST_NOTICE];
    size_t count = 0;
    enum pipe_result result = session->pipe.ops->interrupt_in(session->pipe.device, bytes,
                                                              sizeof bytes, &count, deadline);

    *notice = result == PIPE_DONE ? usbtmc_read_notice(bytes, count, tag, byte) : USBTMC_OTHER;
    session->gone = session->gone || result == PIPE_GONE;
    return result;
}

/*
 * The status byte comes by the interrupt endpoint, behind service requests and
 * answers to others (USB488 1.00, READ_STATUS_BYTE). A device that puts it into
 * its reply all the same and says nothing there is believed; by the standard
 * that byte is 0.
 */
static enum pipe_result await_notice(struct usbtmc *session, unsigned char replied,
                                     unsigned char *byte, struct deadline deadline)
{
    struct deadline limit = deadline_sooner(deadline, deadline_in(NOTICE_MS));
    enum pipe_result result = PIPE_DONE;

    for (int i = 0; i < MOST_NOTICES && result == PIPE_DONE; i++) {
        enum usbtmc_notice notice;

        result = read_notice(session, session->status_tag, &notice, byte, limit);
        if (notice == USBTMC_STATUS_BYTE)
            return PIPE_DONE;
    }
    if (result == PIPE_DONE)
        return PIPE_OVERFLOW;
    if (result == PIPE_TIMEOUT && replied != 0) {
        *byte = replied;
        return PIPE_DONE;
    }
    return result;
}

/* One request. *busy: the interrupt endpoint was full, and one packet of it is read now. */
static enum pipe_result ask_status(struct usbtmc *session, unsigned char *byte, bool *busy,
                                   struct deadline deadline)
{
    unsigned char reply[USBTMC_LONGEST_REPLY];
    size_t count;
    enum usbtmc_notice notice;
    enum pipe_result result;

    *busy = false;
    session->status_tag = usbtmc_next_status_tag(session->status_tag);
    result =
        usbtmc_ask(session, USBTMC_READ_STATUS_BYTE, session->status_tag, reply, &count, deadline);
    if (result != PIPE_DONE)
        return result;
    if (count < 3 || reply[1] != session->status_tag)
        return PIPE_OVERFLOW;
    if (reply[0] == USBTMC_INTERRUPT_BUSY && session->pipe.interrupt) {
        *busy = true;
        return read_notice(session, session->status_tag, &notice, byte, deadline);
    }
    if (reply[0] != USBTMC_SUCCESS)
        return PIPE_STALL;
    if (session->pipe.interrupt)
        return await_notice(session, reply[2], byte, deadline);
    *byte = reply[2];
    return PIPE_DONE;
}

bool usbtmc_status(struct usbtmc *session, unsigned char *byte, struct deadline deadline,
                   struct failure *failure)
{
    enum pipe_result result = PIPE_DONE;
    bool busy = true;
    unsigned char found = 0;

    if (session->gone)
        return usbtmc_failed(session, PIPE_GONE, "status byte", failure);
    if (!session->has_status)
        return false;
    for (int i = 0; i < MOST_BUSY && busy && result == PIPE_DONE; i++)
        result = ask_status(session, &found, &busy, deadline);
    if (result == PIPE_STALL) {
        session->has_status = false;
        return false;
    }
    if (result == PIPE_OVERFLOW || busy)
        return failure_set(failure, FAILURE_UNEXPECTED_REPLY, NULL, "one status byte",
                           "the device answers status requests with something else");
    if (result != PIPE_DONE)
        return usbtmc_failed(session, result, "status byte", failure);
    *byte = found;
    return true;
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
