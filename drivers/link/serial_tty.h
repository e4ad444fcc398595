/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * What a serial line needs besides its speed and framing, on the bare
 * descriptor of any terminal, so that pseudo-terminals can stand in for it:
 * ownership, raw transfer, marking of damaged characters, error counters and
 * a close that never waits for stuck flow control.
 */
#ifndef GRADUS_DRIVERS_SERIAL_TTY_H
#define GRADUS_DRIVERS_SERIAL_TTY_H

#include "core/basics/failure.h"
#include "link.h"

#include <linux/serial.h>
#include <stdbool.h>

/*
 * Makes the terminal ours alone: no other program opens it (TIOCEXCL) and no
 * other of ours that asks (flock), no child inherits it, nothing blocks.
 * (TIOCEXCL does not keep out root: ioctl_tty(2).) FAILURE_DISCONNECTED when
 * another has it.
 */
bool serial_tty_take(int fd, struct failure *failure);

/*
 * Sets raw transfer. Characters with framing or parity errors and breaks come
 * through as NUL, which no text reply holds, instead of vanishing or passing
 * unmarked (termios(3): IGNPAR, INPCK, PARMRK); DTR and RTS stay when the line
 * is closed, which libserialport 0.1.1 would drop by HUPCL; a read of
 * nothing means that the line is gone. Speed and framing are left alone.
 */
bool serial_tty_raw(int fd, enum flow_control flow, struct failure *failure);

/*
 * Asks the driver not to hold characters back (ASYNC_LOW_LATENCY). Not every
 * driver can; no error.
 */
void serial_tty_low_latency(int fd);

/* Reads the error counters (TIOCGICOUNT); false where the driver has none. */
bool serial_tty_counters(int fd, struct serial_icounter_struct *counters);

/* Whether characters were damaged or lost between two looks at the counters. */
bool serial_tty_damage(const struct serial_icounter_struct *before,
                       const struct serial_icounter_struct *after);

/* Throws away what flow control holds back, so that the close to come does not wait for it. */
void serial_tty_abandon(int fd);

#endif
