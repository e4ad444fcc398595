/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Serial lines. The library is used for finding ports, their USB ids and the
 * line settings; waiting and transfer are on the descriptor, because its own
 * blocking reads spin, hide an unplug and follow the wall clock (libserialport
 * 0.1.1, tried).
 */
#ifndef GRADUS_DRIVERS_LINK_SERIAL_H
#define GRADUS_DRIVERS_LINK_SERIAL_H

#include "link.h"

/*
 * A link on a terminal that is open already, with its speed and framing as
 * they are. For terminals the library cannot open, pseudo-terminals among
 * them. Takes over `fd`, which is closed on failure too. NULL on failure.
 */
struct link *link_serial_adopt(int fd, enum flow_control flow, struct failure *failure);

#endif
