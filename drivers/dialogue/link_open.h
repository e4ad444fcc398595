/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The kinds of links that there are: a new kind is a row of the table in link_open.c. */
#ifndef GRADUS_DRIVERS_LINK_OPEN_H
#define GRADUS_DRIVERS_LINK_OPEN_H

#include "drivers/link/link.h"

/* Opens a link of the kind the spec names. NULL on failure. Free with link_close(). */
struct link *link_open(const struct link_spec *spec, struct deadline deadline,
                       struct failure *failure);

#endif
