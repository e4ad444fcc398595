/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * A real terminal as an instrument's link: raw, 8 bits, no parity, no flow
 * control, modem lines ignored. When it hangs up it is opened again as soon
 * as that can be done.
 */
#ifndef STANDIN_TERMINAL_H
#define STANDIN_TERMINAL_H

#include "tools/standin/basics/problem.h"

#include <event2/event.h>

struct terminal;

/* It is open; the descriptor, non-blocking, is the callee's. */
typedef void terminal_opened(void *argument, int fd);

/* Opens, which it must be able to do now. NULL with the problem told. */
struct terminal *terminal_open(struct event_base *base, const char *path, double baud,
                               terminal_opened *opened, void *argument, struct problem *problem);

/* Opens again, from the event loop, after the callee has closed it. */
void terminal_reopen(struct terminal *terminal);

/* Accepts NULL. */
void terminal_close(struct terminal *terminal);

#endif
