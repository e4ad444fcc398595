/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The socket of one instrument. One client at a time: a new connection takes
 * the place of the old one, as a serial line moved to another computer would.
 * Commands are executed one after the other; while a conversion lasts, what
 * comes in waits. Faults are applied to the replies here.
 */
#ifndef SIMBENCH_PORT_H
#define SIMBENCH_PORT_H

#include "clock.h"
#include "instrument.h"
#include "listener.h"
#include "problem.h"

#include <event2/event.h>

struct port;

/* Listens for an instrument, which is borrowed. NULL with the problem told. */
struct port *port_open(struct event_base *base, const struct bench_clock *clock,
                       struct instrument *instrument, const char *where, struct problem *problem);

/* Accepts NULL. */
void port_close(struct port *port);

/* Where it listens, as a client would write it. */
const char *port_address(const struct port *port);

/* Closes the connection there is, if any; the instrument keeps its settings. */
void port_disconnect(struct port *port);

/* Stops babble. */
void port_quiet(struct port *port);

#endif
