/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What somebody may have meant by a number of the settings with something glued to its end. */
#ifndef GRADUS_DRIVERS_STRICT_MEANT_H
#define GRADUS_DRIVERS_STRICT_MEANT_H

#include <stddef.h>

/*
 * Writes what is expected in place of `number` and `tail` together, such as "12" and "p": "12e-12".
 *
 * number  as it is written, at most 31 bytes
 * tail    what follows it at once, not empty
 */
void strict_meant(const char *number, const char *tail, char *meant, size_t size);

#endif
