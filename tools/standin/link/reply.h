/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Sends one reply, as it is or as the armed faults would have it. */
#ifndef STANDIN_REPLY_H
#define STANDIN_REPLY_H

#include "outbox.h"
#include "tools/standin/basics/reply_text.h"
#include "tools/standin/instrument/instrument.h"

/* `reply` has its terminator. False when the connection was closed by it. */
bool reply_send(struct instrument *instrument, struct outbox *outbox, const struct text *reply);

#endif
