/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The control socket: JSON-RPC 2.0 with named parameters, one request a line
 * (no batches). The methods stand in methods.c.
 */
#ifndef STANDIN_CONTROL_H
#define STANDIN_CONTROL_H

#include "tools/standin/basics/problem.h"
#include "tools/standin/bench/bench.h"

#include <stdbool.h>

struct control;

/* Listens at the Unix socket `path`; the bench is borrowed. NULL with the problem told. */
struct control *control_open(struct bench *bench, const char *path, struct problem *problem);

/* Accepts NULL. */
void control_close(struct control *control);

#endif
