/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The class requests of a USBTMC device with the USB488 subclass: what is
 * answered, and what the device is to do before the answer goes out. No input
 * or output. Universal Serial Bus Test and Measurement Class 1.00, 4.2;
 * subclass USB488 1.00, 4.3.
 */
#ifndef STANDIN_TMC_REQUEST_H
#define STANDIN_TMC_REQUEST_H

#include "gadget.h"

#include <stdbool.h>
#include <stdint.h>

enum { TMC_REPLY = 24 };

/* What requests see of the device. */
struct tmc_view {
    bool scpi;
    bool out_open; /* amid a transfer on bulk-out, of this tag and so far */
    uint8_t out_tag;
    uint32_t out_received;
    bool in_open; /* an answer is asked for and has not all been sent */
    uint8_t in_tag;
    uint32_t in_sent;
    bool closing;      /* an aborted answer's last packet has not been taken yet */
    bool unread;       /* bytes wait in bulk-in; looked at for CHECK_CLEAR_STATUS only */
    bool notice_waits; /* the last interrupt message has not been taken yet */
};

/* What the device is to do. */
enum tmc_order {
    TMC_NOTHING,
    TMC_CLEAR,
    TMC_ABORT_OUT,
    TMC_ABORT_IN,
    TMC_PULSE,
    TMC_REMOTE_ENABLE,
    TMC_REMOTE_DISABLE,
    TMC_GO_TO_LOCAL,
    TMC_LOCK_OUT,
    TMC_TELL_STATUS /* on interrupt-in, with the request's value as tag */
};

/* Whether CHECK_CLEAR_STATUS is asked. */
bool tmc_checks_clear(const struct gadget_setup *setup);

/* The length of the reply, or -1 for a request to be stalled. */
int tmc_request(const struct tmc_view *view, const struct gadget_setup *setup,
                uint8_t reply[TMC_REPLY], enum tmc_order *order);

#endif
