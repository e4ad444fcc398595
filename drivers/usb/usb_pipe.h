/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The transfers of one USB interface, as a table of functions that the
 * protocol talks through, so that it can be tested on a scripted device.
 */
#ifndef GRADUS_DRIVERS_USB_PIPE_H
#define GRADUS_DRIVERS_USB_PIPE_H

#include "drivers/basics/deadline.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

/* How a transfer ended. */
enum pipe_result {
    PIPE_DONE,
    PIPE_TIMEOUT,  /* the deadline came first; a part may have gone or come */
    PIPE_STALL,    /* endpoint halted, or request refused by the device */
    PIPE_OVERFLOW, /* the device sent more than it may */
    PIPE_GONE,     /* the device is gone */
    PIPE_FAILED    /* this machine could not do it */
};

/* The setup packet of a control request. */
struct usb_setup {
    uint8_t type;
    uint8_t request;
    uint16_t value;
    uint16_t index;
    uint16_t length;
};

/*
 * Every call may block until its deadline, not longer, and returns
 * PIPE_TIMEOUT without a transfer when that has passed. `device` is that of
 * the pipe.
 */
struct usb_pipe_ops {
    /* Sends; *sent is what the device took, also when it failed. */
    enum pipe_result (*bulk_out)(void *device, const unsigned char *bytes, size_t count,
                                 size_t *sent, struct deadline deadline);
    /*
     * Receives until `capacity` bytes are there or the device ends its
     * transfer with a short packet. `capacity` is a multiple of the packet
     * size, for a packet that does not fit is lost. *count is what came; after
     * anything but PIPE_DONE the bytes must not be used (libusb 1.0 on packets
     * and overflows; its issue 659).
     */
    enum pipe_result (*bulk_in)(void *device, unsigned char *bytes, size_t capacity, size_t *count,
                                struct deadline deadline);
    /* A request with `setup->length` bytes to come; *count is what came. */
    enum pipe_result (*control)(void *device, const struct usb_setup *setup, unsigned char *bytes,
                                size_t *count, struct deadline deadline);
    /*
     * Takes an endpoint out of its halt. The kernel waits for the device by
     * its own time limit, so it must not be called for one that answers nothing.
     */
    enum pipe_result (*clear_halt)(void *device, uint8_t endpoint, struct deadline deadline);
    /* Lets a device that is busy with itself have a little time before it is asked again. */
    void (*pause)(void *device, struct deadline deadline);
};

/* One interface and how to reach it. Copied freely; owns nothing. */
struct usb_pipe {
    const struct usb_pipe_ops *ops;
    void *device;
    uint8_t interface; /* bInterfaceNumber */
    bool usb488;       /* interface protocol 01 */
    uint8_t out;       /* endpoint addresses, from the descriptors */
    uint8_t in;
    size_t in_packet; /* wMaxPacketSize: 8 to 1024 */
};

#endif
