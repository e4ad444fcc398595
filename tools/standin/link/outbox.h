/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Bytes on their way to a client, in order, some of them not before a time.
 * When nothing waits they leave at once, with no timer and no second pass
 * through the event loop.
 */
#ifndef STANDIN_OUTBOX_H
#define STANDIN_OUTBOX_H

#include "tools/standin/basics/clock.h"
#include "tools/standin/instrument/fault.h"

#include <event2/event.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

struct outbox;

/* One piece of a reply. */
struct piece {
    const void *bytes;
    size_t count;
    double delay_ms;        /* after everything before it */
    bool last;              /* the connection closes behind it */
    bool stray;             /* comes even if a later command has made it void */
    bool open;              /* the reply is not over with it */
    enum fault_kind damage; /* what the face is to do to it; FAULT_ARMED_KINDS: nothing */
};

/* Called when the connection has to be closed; the outbox may be freed in it. */
typedef void outbox_broken(void *argument);

/*
 * An outbox for a connected non-blocking stream, which stays the caller's. With
 * `marked` a struct mark goes before each piece.
 */
struct outbox *outbox_new(struct event_base *base, const struct bench_clock *clock, int fd,
                          bool marked, outbox_broken *broken, void *argument);

/* Frees what waits in it. */
void outbox_free(struct outbox *outbox);

/* What is sent from now on answers that command of the connection, counted from 1. */
void outbox_answer_to(struct outbox *outbox, uint32_t command);

/*
 * Sends one piece. May call `broken` before it returns: the caller must not
 * touch the connection afterwards unless it returns true.
 */
bool outbox_send(struct outbox *outbox, const struct piece *piece);

/* Drops what has not left yet. */
void outbox_drop(struct outbox *outbox);

/*
 * From now on repeats a text about every millisecond, as fast as the client
 * takes it; NULL stops. The text is copied (cut at 63 bytes).
 */
void outbox_babble(struct outbox *outbox, const char *text);

#endif
