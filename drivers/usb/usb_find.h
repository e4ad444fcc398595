/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Which USBTMC devices there are, inside one libusb context; for usb_device.c. */
#ifndef GRADUS_DRIVERS_USB_FIND_H
#define GRADUS_DRIVERS_USB_FIND_H

#include "usb_device.h"

#include <libusb-1.0/libusb.h>

/*
 * One device that was found.
 *
 * One idea in two halves; the other half is usb_device.h, which opens them.
 */
struct usb_found {
    struct usb_device_info info;
    struct usb_pipe pipe;  /* interface and endpoints; without functions */
    libusb_device *device; /* one reference is held */
    bool configured;       /* false: it has just arrived, and the pipe is not known yet */
};

/*
 * Everything that is a USBTMC device, in the order of the ports, and whatever
 * is not configured yet. *count entries to be given back with usb_find_free();
 * NULL with the failure set.
 */
struct usb_found *usb_find(libusb_context *context, size_t *count, struct failure *failure);

/* Lets go of the devices. Accepts NULL. */
void usb_find_free(struct usb_found *found, size_t count);

#endif
