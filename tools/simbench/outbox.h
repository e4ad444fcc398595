/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Bytes on their way to a client, in order, some of them not before a time.
 * When nothing waits they leave at once, with no timer and no second pass
 * through the event loop.
 */
#ifndef SIMBENCH_OUTBOX_H
#define SIMBENCH_OUTBOX_H

#include "clock.h"

#include <event2/event.h>
#include <stdbool.h>
#include <stddef.h>

struct outbox;

/* Called when the connection has to be closed; the outbox may be freed in it. */
typedef void outbox_broken(void *argument);

/* An outbox for a connected non-blocking socket, which stays the caller's. */
struct outbox *outbox_new(struct event_base *base, const struct bench_clock *clock, int fd,
                          outbox_broken *broken, void *argument);

/* Frees what waits in it. */
void outbox_free(struct outbox *outbox);

/*
 * Sends bytes in one piece, `delay_ms` after everything before them, then
 * closes the connection if `last`. May call `broken` before it returns: the
 * caller must not touch the connection afterwards unless it returns true.
 */
bool outbox_send(struct outbox *outbox, const void *bytes, size_t count, double delay_ms,
                 bool last);

/* Drops what has not left yet. */
void outbox_drop(struct outbox *outbox);

/*
 * From now on repeats a text about every millisecond, as fast as the client
 * takes it; NULL stops. The text is copied (cut at 63 bytes).
 */
void outbox_babble(struct outbox *outbox, const char *text);

#endif
