/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * USBTMC devices on this machine: finding, opening, and the transfers of
 * usb_pipe.h by libusb. Nothing here knows the protocol.
 */
#ifndef GRADUS_DRIVERS_USB_DEVICE_H
#define GRADUS_DRIVERS_USB_DEVICE_H

#include "core/basics/failure.h"
#include "drivers/basics/deadline.h"
#include "drivers/link/link.h"
#include "usb_pipe.h"

#include <stdbool.h>
#include <stddef.h>

enum { USB_DEVICE_TEXT = 128, USB_DEVICE_PATH = 40 };

/*
 * One USBTMC device that is plugged in. The texts are what the kernel read
 * from the device when it was plugged in, so they are there without opening
 * it and without permission; empty where the device has none.
 *
 * One idea in two halves; the other half is usb_find.h, which looks for devices.
 */
struct usb_device_info {
    int vendor;
    int product;
    char serial[USB_DEVICE_TEXT];
    char maker[USB_DEVICE_TEXT];
    char model[USB_DEVICE_TEXT];
    char port[USB_DEVICE_PATH]; /* bus and ports as the kernel writes them: 3-1.4 */
    char node[USB_DEVICE_PATH]; /* /dev/bus/usb/003/017; changes with each plugging in */
    bool usb488;                /* the interface says that it speaks USB488 too */
    bool may_open;              /* this process may read and write the node */
};

/*
 * Lists the USBTMC devices that are plugged in and configured, in the order of
 * their ports; nothing is opened and nothing is sent. A device that was
 * plugged in a moment ago may still be missing.
 *
 * Returns an array of *count entries that the caller frees with free(); it is
 * not NULL when *count is 0. NULL with the failure set when USB cannot be
 * looked at, or memory is short. May be called from any thread.
 */
struct usb_device_info *usb_device_list(size_t *count, struct failure *failure);

/*
 * Writes the link text that finds this device again wherever it is plugged:
 * usb:VVVV:PPPP:SERIAL, or usb:VVVV:PPPP when it has no serial number that a
 * link can hold. `text` is always terminated. Returns `text`.
 */
char *usb_device_link(const struct usb_device_info *info, char *text, size_t size);

/* Whether the device is one that the spec (LINK_USB) asks for. */
bool usb_device_fits(const struct usb_device_info *info, const struct link_spec *spec);

struct usb_device;

/*
 * Opens the one device that fits the spec and claims its USBTMC interface,
 * taking it from the kernel's own driver until usb_device_close(). A device
 * that was just plugged in and is not configured yet is waited for.
 *
 * NULL with the failure set: FAILURE_DISCONNECTED when there is none, another
 * program has it, or this process may not open it (the text names the remedy);
 * FAILURE_SETTINGS when two fit, for the wrong one would be the wrong
 * instrument; FAILURE_TIMEOUT.
 *
 * Each open device has a libusb context of its own: it is used and closed by
 * one thread, and devices of different threads never meet (several threads on
 * one context race in libusb 1.0.26: its issue 1263).
 */
struct usb_device *usb_device_open(const struct link_spec *spec, struct deadline deadline,
                                   struct failure *failure);

/* The transfers of an open device; valid until it is closed. */
struct usb_pipe usb_device_pipe(struct usb_device *device);

/* Gives the interface back to the kernel, closes and frees. Accepts NULL and a device that is gone. */
void usb_device_close(struct usb_device *device);

#endif
