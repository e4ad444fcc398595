/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The serial ports of this machine. sp_list_ports() of libserialport 0.1.1
 * goes on with a list that it has given up when a port vanishes under its
 * hands, which ends the process, and opens every native port for a moment;
 * so the names are read here and the library is asked about one at a time.
 */
#ifndef GRADUS_DRIVERS_SERIAL_LIST_H
#define GRADUS_DRIVERS_SERIAL_LIST_H

#include "core/basics/failure.h"

#include <libserialport.h>

/*
 * Ports with hardware behind them, in the order of their names, ended by
 * NULL; to be freed with sp_free_port_list(). No port is opened, and one that
 * goes meanwhile is left out. NULL with the failure set when the kernel's
 * list cannot be read or memory is short.
 */
struct sp_port **serial_list(struct failure *failure);

#endif
