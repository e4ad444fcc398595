/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The kinds of links that this folder makes, for the table in drivers/dialogue/link_open.c. */
#ifndef GRADUS_DRIVERS_LINK_KINDS_H
#define GRADUS_DRIVERS_LINK_KINDS_H

#include "link.h"

extern const struct link_ops link_tcp_ops;    /* link_stream.c */
extern const struct link_ops link_unix_ops;   /* link_stream.c */
extern const struct link_ops link_serial_ops; /* link_serial.c */

#endif
