/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The insides of a USBTMC session, shared by usbtmc*.c only. */
#ifndef GRADUS_DRIVERS_USBTMC_PRIV_H
#define GRADUS_DRIVERS_USBTMC_PRIV_H

#include "drivers/basics/buffer.h"
#include "usbtmc.h"
#include "usbtmc_message.h"

/* What may be under way on the bulk endpoints. */
enum wire_state {
    WIRE_IDLE,
    WIRE_IN,     /* an answer was asked for and has not come to its end */
    WIRE_OUT,    /* a transfer to the device has not come to its end */
    WIRE_UNKNOWN /* only a device clear helps */
};

struct usbtmc {
    struct usb_pipe pipe;
    struct usbtmc_capabilities capabilities;
    bool remote;   /* taken from the front panel */
    int term_char; /* that ends every answer; USBTMC_NO_TERM_CHAR: none */
    uint8_t tag;   /* of the last bulk transfer */
    enum wire_state wire;
    bool owed;              /* an answer may still come for a message that is given up */
    bool torn;              /* a part of the present answer is lost */
    bool midway;            /* the present answer has begun, and not ended yet */
    bool gone;              /* the device is unplugged */
    struct buffer transfer; /* the present one: header, data, alignment */
    size_t begin;           /* data not handed out yet: from here ... */
    size_t end;             /*   ... to here */
    bool is_last;           /* the message ends with them */
};

/* Turns how a transfer ended into a failure; returns false. Notes when the device is gone. */
bool usbtmc_failed(struct usbtmc *session, enum pipe_result result, const char *doing,
                   struct failure *failure);

/* A control request to the interface or an endpoint; *count is the length of the reply. */
enum pipe_result usbtmc_ask(struct usbtmc *session, enum usbtmc_control control, uint8_t value,
                            unsigned char reply[USBTMC_LONGEST_REPLY], size_t *count,
                            struct deadline deadline);

/*
 * Aborts what is under way on the bulk endpoints, and clears the device where
 * that does not help. Does nothing when the wire is idle.
 */
bool usbtmc_tidy(struct usbtmc *session, struct deadline deadline, struct failure *failure);

#endif
