/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "notify.h"

#include "loop.h"

uint64_t notify_open(struct loop *loop, struct session *session)
{
    session->subscriptions++;
    return ++loop->subscriptions;
}

void notify_close(struct session *session)
{
    if (--session->subscriptions == 0)
        session->ops->idle(session->peer);
}

struct text *notification_open(struct loop *loop, uint64_t subscription, const char *method)
{
    struct text *text = &loop->notification;
    text_reset(text);
    text_open(text, '{');
    text_member_string(text, "jsonrpc", "2.0");
    text_member_string(text, "method", method);
    text_member_open(text, "params", '{');
    text_member_integer(text, "subscription", (int64_t)subscription);
    return text;
}

bool notification_send(struct loop *loop, const struct session *session, struct text *text,
                       uint64_t *missed)
{
    if (*missed > 0)
        text_member_integer(text, "missed", (int64_t)*missed);
    text_close(text, '}');
    text_close(text, '}');
    if (text->failed || session->ops->slow(session->peer)) {
        ++*missed;
        loop->counters.dropped_notifications++;
        return false;
    }
    session->ops->send(session->peer, text->bytes, text->length);
    *missed = 0;
    return true;
}
