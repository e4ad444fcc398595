/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Sends one reply, as it is or as the armed faults would have it. */
#ifndef SIMBENCH_REPLY_H
#define SIMBENCH_REPLY_H

#include "instrument.h"
#include "outbox.h"
#include "text.h"

/* `reply` has its terminator. False when the connection was closed by it. */
bool reply_send(struct instrument *instrument, struct outbox *outbox, const struct text *reply);

#endif
