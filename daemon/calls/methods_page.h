/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The table of methods for people: the part of daemon/server/README.md that is made from it. */
#ifndef GRADUS_DAEMON_METHODS_PAGE_H
#define GRADUS_DAEMON_METHODS_PAGE_H

#include <stdio.h>

/* Prints every method with its parameters and result, as Markdown. */
void methods_print(FILE *out);

#endif
