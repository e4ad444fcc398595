/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A USBTMC device by the fewest transfers that can be: no checks, no recovery. */
#ifndef GRADUS_TOOLS_BENCHMARK_BARE_USB_H
#define GRADUS_TOOLS_BENCHMARK_BARE_USB_H

#include <stddef.h>

struct bare_usb;

/* Takes the first device of that vendor and product; ends the program when there is none. */
struct bare_usb *bare_usb_open(int vendor, int product);

/* Sends a query and takes its answer of at most `most` bytes; returns how many came. */
size_t bare_usb_ask(struct bare_usb *usb, const char *query, size_t most);

/* Gives the device back. */
void bare_usb_close(struct bare_usb *usb);

#endif
