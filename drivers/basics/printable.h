/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Showing bytes that came over a link to a person, whatever they are. */
#ifndef GRADUS_DRIVERS_PRINTABLE_H
#define GRADUS_DRIVERS_PRINTABLE_H

#include <stddef.h>

/*
 * Writes `bytes` into `text`, always terminated: printable ASCII as it is,
 * backslash, CR, NL and tab as \\ \r \n \t, the rest as \xHH. What does not
 * fit is cut and replaced by "...". `size` must be at least 8. Returns `text`.
 */
char *printable(const char *bytes, size_t count, char *text, size_t size);

#endif
