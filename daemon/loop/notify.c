/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "notify.h"

#include "daemon/daemon_priv.h"

uint64_t notify_open(struct daemon *daemon, struct session *session)
{
    session->subscriptions++;
    return ++daemon->subscriptions;
}

void notify_close(struct session *session)
{
    if (--session->subscriptions == 0)
        server_idle(session->client);
}

struct text *notification_open(struct daemon *daemon, uint64_t subscription, const char *method)
{
    struct text *text = &daemon->notification;
    text_reset(text);
    text_open(text, '{');
    text_member_string(text, "jsonrpc", "2.0");
    text_member_string(text, "method", method);
    text_key(text, "params");
    text_open(text, '{');
    text_member_integer(text, "subscription", (int64_t)subscription);
    return text;
}

bool notification_send(struct daemon *daemon, const struct session *session, struct text *text,
                       uint64_t *missed)
{
    if (*missed > 0)
        text_member_integer(text, "missed", (int64_t)*missed);
    text_close(text, '}');
    text_close(text, '}');
    if (text->failed || server_is_slow(session->client)) {
        ++*missed;
        daemon->counters.dropped_notifications++;
        return false;
    }
    server_send(session->client, text->bytes, text->length);
    *missed = 0;
    return true;
}
