/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "daemon/basics/log.h"
#include "server_priv.h"

#include <errno.h>
#include <event2/bufferevent.h>
#include <event2/event.h>
#include <event2/listener.h>
#include <netinet/in.h>
#include <netinet/tcp.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>

static const struct timeval accept_again = { 1, 0 }; /* after running out of descriptors */

/* Tells one client too many, as far as the socket takes it at once. */
static void turn_away(const struct server *server, evutil_socket_t descriptor)
{
    const char *text = server->handlers->too_many(server->context);
    ssize_t sent = send(descriptor, text, strlen(text), MSG_NOSIGNAL);
    (void)sent;
    evutil_closesocket(descriptor);
}

/* Answers go out at once, and a peer that lost its power is noticed within two minutes. */
static void tune_tcp(evutil_socket_t descriptor)
{
    const int on = 1, idle_s = 60, interval_s = 10, probes = 6;
    setsockopt(descriptor, IPPROTO_TCP, TCP_NODELAY, &on, sizeof on);
    setsockopt(descriptor, SOL_SOCKET, SO_KEEPALIVE, &on, sizeof on);
    setsockopt(descriptor, IPPROTO_TCP, TCP_KEEPIDLE, &idle_s, sizeof idle_s);
    setsockopt(descriptor, IPPROTO_TCP, TCP_KEEPINTVL, &interval_s, sizeof interval_s);
    setsockopt(descriptor, IPPROTO_TCP, TCP_KEEPCNT, &probes, sizeof probes);
}

static void on_accept(struct evconnlistener *listener, evutil_socket_t descriptor,
                      struct sockaddr *address, int length, void *argument)
{
    struct server *server = argument;
    (void)listener;
    (void)length;
    if (server->client_count >= server->most_clients) {
        turn_away(server, descriptor);
        return;
    }
    if (address->sa_family != AF_UNIX)
        tune_tcp(descriptor);
    server_client_open(server, descriptor);
}

static void set_listening(struct server *server, bool on)
{
    for (size_t i = 0; i < server->listener_count; i++)
        if (on)
            evconnlistener_enable(server->listeners[i]);
        else
            evconnlistener_disable(server->listeners[i]);
}

/* Out of descriptors, most likely: the loop would spin on a connection it cannot take. */
static void on_accept_error(struct evconnlistener *listener, void *argument)
{
    struct server *server = argument;
    (void)listener;
    log_line(LOG_PRIORITY_ERROR, "cannot accept a connection: %s", strerror(errno));
    set_listening(server, false);
    evtimer_add(server->resume_accepting, &accept_again);
}

static void on_resume_accepting(evutil_socket_t unused, short what, void *argument)
{
    (void)unused;
    (void)what;
    set_listening(argument, true);
}

struct server *server_new(struct event_base *base, const struct server_handlers *handlers,
                          void *context)
{
    struct server *server = calloc(1, sizeof *server);
    if (server == NULL)
        return NULL;
    server->base = base;
    server->handlers = handlers;
    server->context = context;
    LIST_INIT(&server->clients);
    server->resume_accepting = evtimer_new(base, on_resume_accepting, server);
    if (server->resume_accepting == NULL) {
        free(server);
        return NULL;
    }
    return server;
}

void server_deafen(struct server *server)
{
    for (size_t i = 0; i < server->listener_count; i++)
        evconnlistener_free(server->listeners[i]);
    server->listener_count = 0;
    evtimer_del(server->resume_accepting);
}

void server_free(struct server *server)
{
    if (server == NULL)
        return;
    server_deafen(server);
    event_free(server->resume_accepting);
    struct client *client = LIST_FIRST(&server->clients);
    while (client != NULL) {
        struct client *next = LIST_NEXT(client, entry);
        server_client_free(client);
        client = next;
    }
    free(server);
}

void server_limit(struct server *server, size_t line_limit, size_t clients)
{
    struct client *client;
    server->line_limit = line_limit;
    server->most_clients = clients;
    LIST_FOREACH(client, &server->clients, entry)
    bufferevent_setwatermark(client->events, EV_READ, 0, line_limit + 1);
}

bool server_listen(struct server *server, int descriptor)
{
    unsigned flags = LEV_OPT_CLOSE_ON_FREE | LEV_OPT_CLOSE_ON_EXEC;
    struct evconnlistener *listener = NULL;
    if (server->listener_count < SERVER_LISTENERS)
        listener = evconnlistener_new(server->base, on_accept, server, flags, 0, descriptor);
    if (listener == NULL) {
        evutil_closesocket(descriptor);
        return false;
    }
    evconnlistener_set_error_cb(listener, on_accept_error);
    server->listeners[server->listener_count++] = listener;
    return true;
}

size_t server_clients(const struct server *server)
{
    return server->client_count;
}

bool server_unsent(const struct server *server)
{
    const struct client *client;
    LIST_FOREACH(client, &server->clients, entry)
    if (server_client_unsent(client) > 0)
        return true;
    return false;
}
