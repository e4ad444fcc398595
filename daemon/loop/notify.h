/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * What a subscription tells its client. A client that reads too slowly misses
 * notifications; whoever tells counts them and says so in the next.
 *
 * Everything here is for the loop thread.
 */
#ifndef GRADUS_DAEMON_NOTIFY_H
#define GRADUS_DAEMON_NOTIFY_H

#include "daemon/basics/json_text.h"
#include "daemon/work/session.h"

#include <stdbool.h>
#include <stdint.h>

struct loop;

/* Counts a session's new subscription. Returns its number, which no other has. */
uint64_t notify_open(struct loop *loop, struct session *session);

/* The subscription has ended; its client may be closed by that, once this returns to the loop. */
void notify_close(struct session *session);

/* Begins a notification, as far as into its params; good until the next one is begun. */
struct text *notification_open(struct loop *loop, uint64_t subscription, const char *method);

/*
 * Ends a notification and sends it. Where the client reads too slowly, and
 * where the text was spoilt, it is dropped, `missed` grows and this is false;
 * else `missed`, which the notification has said, is zero again.
 */
bool notification_send(struct loop *loop, const struct session *session, struct text *text,
                       uint64_t *missed);

#endif
