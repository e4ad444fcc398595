/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The link of one instrument: a socket, a terminal or a USB device. One client at a time: a new connection takes
 * the place of the old one, as a serial line moved to another computer would.
 * Commands are executed one after the other; while a conversion lasts, what
 * comes in waits. Faults are applied to the replies here.
 */
#ifndef STANDIN_PORT_H
#define STANDIN_PORT_H

#include "tools/standin/basics/clock.h"
#include "tools/standin/basics/problem.h"
#include "tools/standin/instrument/instrument.h"
#include "tools/standin/link/listener.h"
#include "tools/standin/usb/gadget.h"

#include <event2/event.h>

struct port;

/*
 * Listens for an instrument, which is borrowed, at one of
 *     tcp:IPV4:PORT, unix:/PATH   sockets, see listener.h
 *     tty:/DEVICE                 a terminal, with the plan's `baud`
 *     usb:/MOUNT, acm:/MOUNT      USBTMC or serial device on a FunctionFS mount,
 *                                 with the plan's `gadget` and `udc`
 * NULL with the problem told.
 */
struct port *port_open(struct event_base *base, const struct bench_clock *clock,
                       struct instrument *instrument, const char *where,
                       const struct instrument_plan *plan, struct problem *problem);

/* Accepts NULL. */
void port_close(struct port *port);

/* Where it listens, as a client would write it. */
const char *port_address(const struct port *port);

/*
 * Closes the connection there is, if any; the instrument keeps its settings. A
 * terminal is opened again, a USB device plugged out and in.
 */
void port_disconnect(struct port *port);

/* Stops babble, and takes from the link again. */
void port_quiet(struct port *port);

/* Takes nothing from the link until port_quiet(). */
void port_stick(struct port *port);

/* Whether a fault can be shown on this kind of link. */
bool port_shows(const struct port *port, enum fault_kind kind);

/* Asks for service on a USBTMC link. */
void port_serve(struct port *port);

/* The USB device, or NULL. */
struct gadget *port_gadget(const struct port *port);

#endif
