/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The bytes of USBTMC 1.00 and its subclass USB488 1.00: headers of bulk
 * transfers, control requests and their replies, notifications. Nothing here
 * talks to a device. From the two standards as a textbook on USB in measurement
 * quotes their tables, and as Linux 6.1, drivers/usb/class/usbtmc.c, has them.
 */
#ifndef GRADUS_DRIVERS_USBTMC_MESSAGE_H
#define GRADUS_DRIVERS_USBTMC_MESSAGE_H

#include "core/basics/failure.h"
#include "usb_pipe.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

enum {
    USBTMC_HEADER = 12,
    USBTMC_ALIGNMENT = 4,    /* bulk-out transfers are a multiple of this long */
    USBTMC_NO_TERM_CHAR = -1 /* only the device's own end of message ends an answer */
};

/* First byte of the replies to control requests. */
enum usbtmc_status {
    USBTMC_SUCCESS = 0x01,
    USBTMC_PENDING = 0x02,
    USBTMC_FAILED = 0x80,
    USBTMC_NOT_IN_PROGRESS = 0x81
};

enum usbtmc_control {
    USBTMC_INITIATE_ABORT_OUT,
    USBTMC_CHECK_ABORT_OUT,
    USBTMC_INITIATE_ABORT_IN,
    USBTMC_CHECK_ABORT_IN,
    USBTMC_INITIATE_CLEAR,
    USBTMC_CHECK_CLEAR,
    USBTMC_GET_CAPABILITIES,
    USBTMC_REN_CONTROL,
    USBTMC_GO_TO_LOCAL,
    USBTMC_CONTROLS
};

/* Longest reply to a control request. */
enum { USBTMC_LONGEST_REPLY = 24 };

/* What the device says it can do. Hints only: some devices mix up the bits. */
struct usbtmc_capabilities {
    bool indicator_pulse;
    bool talk_only;
    bool listen_only;
    bool term_char;
    bool is_488_2;
    bool ren_control;
    bool trigger;
    bool scpi;
    bool sr1;
    bool rl1;
    bool dt1;
};

/* What was asked for with a REQUEST_DEV_DEP_MSG_IN. */
struct usbtmc_request {
    uint8_t tag;
    uint32_t size; /* most bytes of data wanted */
    int term_char; /* 0 to 255, or USBTMC_NO_TERM_CHAR */
};

/* What the header of the answer says. */
struct usbtmc_answer {
    uint32_t size;          /* bytes of data, 1 to what was asked for */
    bool end;               /* the message ends with this transfer */
    bool term_char_matched; /* the data end with the term char */
};

/* How far an abort or a device clear is. */
enum usbtmc_progress {
    USBTMC_DONE,
    USBTMC_WAIT,   /* ask again later */
    USBTMC_DRAIN,  /* read bulk-in to a short packet, then ask again */
    USBTMC_REFUSED /* none of these */
};

/* The bTag behind `tag`: 1 to 255, never 0. Begin with 0. */
uint8_t usbtmc_next_tag(uint8_t tag);

/* Bytes on the wire of a DEV_DEP_MSG_OUT with `count` bytes of data: header and padding included. */
size_t usbtmc_out_length(size_t count);

/* Writes the header of a DEV_DEP_MSG_OUT; `end`: the message ends with this transfer. */
void usbtmc_out_header(unsigned char header[USBTMC_HEADER], uint8_t tag, uint32_t count, bool end);

/* Writes a REQUEST_DEV_DEP_MSG_IN. */
void usbtmc_in_request(unsigned char header[USBTMC_HEADER], const struct usbtmc_request *request);

/*
 * Reads the header of a DEV_DEP_MSG_IN, whose first `count` bytes are there,
 * and checks that it answers `request`. Anything else is refused with
 * FAILURE_UNEXPECTED_REPLY: a wrong tag is somebody else's answer.
 * Reserved bytes are ignored, reserved attribute bits are not.
 */
bool usbtmc_in_header(const unsigned char *bytes, size_t count,
                      const struct usbtmc_request *request, struct usbtmc_answer *answer,
                      struct failure *failure);

/*
 * The setup packet of a control request. `value` is the tag, or 1 or 0 for
 * REN_CONTROL; `index` the endpoint for aborts, else the interface.
 */
struct usb_setup usbtmc_setup(enum usbtmc_control control, uint8_t value, uint8_t index);

/* Reads the reply to GET_CAPABILITIES; false, with nothing set, when it is cut or no success. */
bool usbtmc_read_capabilities(const unsigned char *bytes, size_t count,
                              struct usbtmc_capabilities *capabilities);

/* Reads the reply to CHECK_CLEAR, CHECK_ABORT_IN or CHECK_ABORT_OUT. */
enum usbtmc_progress usbtmc_read_progress(enum usbtmc_control control, const unsigned char *bytes,
                                          size_t count);

#endif
