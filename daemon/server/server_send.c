/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Lines to a connection: at once where that goes, else when it has taken what is before them. */
#include "server_priv.h"

#include <event2/buffer.h>
#include <event2/bufferevent.h>
#include <event2/event.h>
#include <sys/socket.h>

/* sendmsg() leaves alone what it sends, though its type does not say so. */
static struct iovec part_of(const char *bytes, size_t count)
{
    const union {
        const char *in;
        char *out;
    } same = { bytes };
    return (struct iovec) { same.out, count };
}

/*
 * Sends as much of a line as the socket takes at once, which mostly is all of
 * it, and saves the loop a turn; returns how much. What goes wrong here goes
 * wrong again with the rest of the line, where it is dealt with.
 */
static size_t send_at_once(const struct client *client, const char *text, size_t length)
{
    struct iovec parts[] = { part_of(text, length), part_of("\n", 1) };
    const struct msghdr message = { .msg_iov = parts, .msg_iovlen = 2 };
    int descriptor = bufferevent_getfd(client->events);
    ssize_t sent = sendmsg(descriptor, &message, MSG_DONTWAIT | MSG_NOSIGNAL);
    return sent > 0 ? (size_t)sent : 0;
}

void server_send(struct client *client, const char *text, size_t length)
{
    struct evbuffer *output = bufferevent_get_output(client->events);
    if (client->closing)
        return;
    size_t sent = client->taking || client->encrypted || server_client_unsent(client) > 0
                      ? 0
                      : send_at_once(client, text, length);
    if (sent > length)
        return;
    /* Half a line must never be followed by another: better nothing more at all. */
    if (server_client_unsent(client) > SERVER_MOST ||
        evbuffer_expand(output, length - sent + 1) != 0) {
        server_client_close(client);
        event_active(client->linger, EV_TIMEOUT, 0);
        return;
    }
    evbuffer_add(output, text + sent, length - sent);
    evbuffer_add(output, "\n", 1);
}
