/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A USBTMC instrument as a link. */
#ifndef GRADUS_DRIVERS_LINK_USB_H
#define GRADUS_DRIVERS_LINK_USB_H

#include "drivers/link/link.h"

/* The link's functions; `open` finds the device that the spec names and begins a session on it. */
extern const struct link_ops link_usb_ops;

#endif
