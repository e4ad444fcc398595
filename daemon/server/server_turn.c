/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Whose lines are taken next, and for how long before the loop goes on. */
#include "daemon/basics/thread.h"
#include "drivers/basics/deadline.h"
#include "server_priv.h"

#include <event2/event.h>
#include <stddef.h>

static const struct timeval at_once = { 0, 0 };

bool server_tired(const struct server *server)
{
    return !moment_before(monotonic_now(), server->tired_at);
}

uint64_t server_client_party(const struct client *client)
{
    const struct server *server = client->server;
    return server->handlers->party != NULL ? server->handlers->party(server->context, client->user)
                                           : client->id;
}

static void push(struct client *client)
{
    struct server *server = client->server;
    client->ready.key = server_client_party(client);
    client->queued = true;
    client->ready_since = server->turns;
    queue_push(&server->ready, &client->ready);
}

void server_client_ready(struct client *client)
{
    struct server *server = client->server;
    if (client->closing || client->user == NULL || server_client_is_due(client))
        return;
    push(client);
    if (!evtimer_pending(server->turn, NULL))
        event_active(server->turn, EV_TIMEOUT, 0);
}

bool server_client_is_due(const struct client *client)
{
    return client->queued || (client->turn != NULL && evtimer_pending(client->turn, NULL));
}

void server_client_unready(struct client *client)
{
    if (client->queued)
        queue_remove(&client->server->ready, &client->ready);
    client->queued = false;
}

static struct client *pop(struct server *server)
{
    struct queued *queued = queue_pop(&server->ready);
    if (queued == NULL)
        return NULL;
    struct client *client =
        (struct client *)(void *)((char *)queued - offsetof(struct client, ready));
    client->queued = false;
    return client;
}

/* Takes one client's lines for as long as a piece may last. It may be gone after. */
static void read_piece(struct server *server, struct client *client)
{
    static const struct duration piece = { SERVER_PIECE_MS * MILLISECOND_NS };
    const struct server_handlers *handlers = server->handlers;
    struct duration before = thread_worked();
    server->tired_at = moment_plus(monotonic_now(), piece);
    if (handlers->begin != NULL)
        handlers->begin(server->context, client->user, server->turns - client->ready_since);
    bool more = server_client_serve(client);
    if (handlers->worked != NULL && client->user != NULL)
        handlers->worked(server->context, client->user,
                         (struct duration) { thread_worked().ns - before.ns });
    if (client->closing)
        return;
    if (more)
        push(client);
    else
        server_client_review(client);
}

/* Whether the client's party has to wait; it is looked at again then. */
static bool is_left_alone(const struct server *server, const struct client *client)
{
    const struct server_handlers *handlers = server->handlers;
    struct duration pause = { 0 };
    if (handlers->pause != NULL)
        pause = handlers->pause(server->context, client->user);
    if (pause.ns <= 0)
        return false;
    const struct timeval wait = duration_timeval(pause);
    evtimer_add(client->turn, &wait);
    return true;
}

void server_turn(evutil_socket_t unused, short what, void *argument)
{
    static const struct duration turn = { SERVER_TURN_MS * MILLISECOND_NS };
    struct server *server = argument;
    const struct moment end = moment_plus(monotonic_now(), turn);
    struct client *client;
    (void)unused;
    (void)what;
    server->turns++;
    if (server->handlers->turn != NULL)
        server->handlers->turn(server->context);
    do {
        client = pop(server);
        if (client != NULL && !client->closing && !is_left_alone(server, client))
            read_piece(server, client);
    } while (client != NULL && moment_before(monotonic_now(), end));
    if (server->ready.count > 0)
        evtimer_add(server->turn, &at_once);
}
