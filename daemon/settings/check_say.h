/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What a look at a file says to people. */
#ifndef GRADUS_DAEMON_CHECK_SAY_H
#define GRADUS_DAEMON_CHECK_SAY_H

#include <stdio.h>

/* Prints a line, without what would steer a terminal: much of it is from a file. */
void check_say(FILE *out, const char *format, ...) __attribute__((format(printf, 2, 3)));

#endif
