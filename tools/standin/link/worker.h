/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * A thread for input and output that can only block, such as FunctionFS
 * endpoints. It does one pass after the other until it is parked. Parking
 * interrupts what it blocks in, so a pass returns when one of the calls below
 * tells it that it was called off, and leaves its state as it is.
 */
#ifndef STANDIN_WORKER_H
#define STANDIN_WORKER_H

#include <stdbool.h>
#include <stddef.h>
#include <sys/types.h>

struct worker;

/* One pass; in the worker's thread. */
typedef void worker_pass(void *argument);

/* A parked worker. Never NULL. */
struct worker *worker_new(worker_pass *pass, void *argument);

/* Parks and ends the thread. Accepts NULL. */
void worker_free(struct worker *worker);

/* Lets it do passes. */
void worker_run(struct worker *worker);

/* Returns when the thread is in no pass; it begins none until worker_run(). Not from the worker. */
void worker_park(struct worker *worker);

/* For passes: whether this one is to be given up. */
bool worker_called_off(const struct worker *worker);

/* For passes: waits until it is called off, because there is nothing it could do. */
void worker_rest(struct worker *worker);

/* For passes: read() and write() once, interrupted only when called off (-1, EINTR). */
ssize_t worker_read(const struct worker *worker, int fd, void *bytes, size_t count);
ssize_t worker_write(const struct worker *worker, int fd, const void *bytes, size_t count);

/* For passes: all of the bytes of a blocking stream; false at its end or when called off. */
bool worker_read_all(const struct worker *worker, int fd, void *bytes, size_t count);
bool worker_write_all(const struct worker *worker, int fd, const void *bytes, size_t count);

#endif
