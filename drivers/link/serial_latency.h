/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The latency timer of USB serial adapters: some hold back the last
 * characters of a reply until it ends, 16 ms if nobody sets it (Linux 6.1,
 * drivers/usb/serial), which at 115200 baud is most of a round trip: 23
 * characters there and back take 2 ms. It is set through the
 * terminal (serial_tty_low_latency()) or by udev; here is how to see whether
 * that helped.
 */
#ifndef GRADUS_DRIVERS_SERIAL_LATENCY_H
#define GRADUS_DRIVERS_SERIAL_LATENCY_H

#include <stdbool.h>
#include <stddef.h>

enum { SERIAL_NOTE = 256 };

/*
 * Writes where sysfs shows the timer of a terminal: `root` (empty, but for
 * tests) and "/sys/bus/usb-serial/devices/NAME/latency_timer", with NAME the
 * last part of `device`. False when `device` has no such part or the path
 * does not fit.
 */
bool serial_latency_path(const char *root, const char *device, char *path, size_t size);

/* The timer of a terminal in milliseconds; -1 where its driver shows none. */
int serial_latency_ms(const char *root, const char *device);

/*
 * Writes what a timer above 1 ms costs and how it is mended into `note`, and
 * an empty text where there is nothing to mend.
 */
void serial_latency_note(const char *root, const char *device, char *note, size_t size);

#endif
