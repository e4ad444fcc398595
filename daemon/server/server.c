/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "daemon/basics/log.h"
#include "drivers/basics/deadline.h"
#include "server_priv.h"

#include <errno.h>
#include <event2/bufferevent.h>
#include <event2/event.h>
#include <event2/listener.h>
#include <netinet/in.h>
#include <netinet/tcp.h>
#include <openssl/ssl.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>

static const struct timeval look_each = { 1, 0 };
static const struct timeval accept_again = { 1, 0 }; /* after running out of descriptors */

static const double default_patience_s = 60.0;

/* A client that holds or follows something may be quiet for so many times as long. */
static const int64_t patience_with_claims = 10;

/* Places that TCP leaves to the Unix socket: one in so many. */
enum { KEPT_BACK = 8 };

/*
 * Answers go out at once, and a peer that lost its power is noticed within two minutes,
 * whether or not something is on its way to it.
 */
static void tune_tcp(evutil_socket_t descriptor)
{
    const int on = 1, idle_s = 50, interval_s = 10, probes = 6;
    const unsigned unacknowledged_ms = 100000; /* looked at with each probe */
    setsockopt(descriptor, IPPROTO_TCP, TCP_NODELAY, &on, sizeof on);
    setsockopt(descriptor, SOL_SOCKET, SO_KEEPALIVE, &on, sizeof on);
    setsockopt(descriptor, IPPROTO_TCP, TCP_KEEPIDLE, &idle_s, sizeof idle_s);
    setsockopt(descriptor, IPPROTO_TCP, TCP_KEEPINTVL, &interval_s, sizeof interval_s);
    setsockopt(descriptor, IPPROTO_TCP, TCP_KEEPCNT, &probes, sizeof probes);
    setsockopt(descriptor, IPPROTO_TCP, TCP_USER_TIMEOUT, &unacknowledged_ms,
               sizeof unacknowledged_ms);
}

static bool has_room(const struct server *server, bool local)
{
    size_t kept_back = server->has_local && server->most_clients > 1
                           ? (server->most_clients + KEPT_BACK - 1) / KEPT_BACK
                           : 0;
    return server->client_count < server->most_clients &&
           (local || server->remote_count + kept_back < server->most_clients);
}

static void drop_those_gone(struct server *server)
{
    struct client *next = NULL;
    for (struct client *at = LIST_FIRST(&server->clients); at != NULL; at = next) {
        next = LIST_NEXT(at, entry);
        if (at->ended && server_client_gone(at))
            server_client_free(at);
    }
}

/* How much longer a client has been quiet than is borne with; negative: it may be. */
static struct duration overstay(const struct server *server, const struct client *client,
                                struct moment now)
{
    enum client_claim claim = CLIENT_IDLE;
    if (server->handlers->claim != NULL)
        claim = server->handlers->claim(server->context, client->user);
    if (claim == CLIENT_WAITS)
        return (struct duration) { -1 };
    struct duration most =
        duration_times(server->patience, claim == CLIENT_IDLE ? 1 : patience_with_claims);
    return moment_since(now, moment_plus(client->heard, most));
}

/* Of those that may have to give way for a newcomer the one that has been quiet longest, or NULL. */
static struct client *find_quiet(const struct server *server, bool local,
                                 const struct client *newcomer)
{
    struct client *quietest = NULL;
    struct client *client;
    struct duration longest = { -1 };
    struct moment now = monotonic_now();
    LIST_FOREACH(client, &server->clients, entry)
    {
        if (client->closing || (client->local && !local) || client == newcomer ||
            (newcomer != NULL && server_client_party(client) != server_client_party(newcomer)))
            continue;
        struct duration over = overstay(server, client, now);
        if (duration_shorter(longest, over)) {
            longest = over;
            quietest = client;
        }
    }
    return quietest;
}

/* Makes a place for a newcomer, if somebody has been quiet too long; not TCP on Unix's cost. */
static void make_room(struct server *server, bool local)
{
    struct client *quietest = find_quiet(server, local, NULL);
    if (quietest != NULL)
        server_client_displace(quietest, server->handlers->displaced(server->context));
}

/* Turns a newcomer away that is one too many of its party, unless one of that gives way. */
static void look_at_party(struct server *server, struct client *newcomer)
{
    const struct server_handlers *handlers = server->handlers;
    if (handlers->crowded == NULL || handlers->crowded(server->context, newcomer->user) == NULL)
        return;
    struct client *quietest = find_quiet(server, newcomer->local, newcomer);
    if (quietest != NULL)
        server_client_displace(quietest, handlers->displaced(server->context));
    const char *text = handlers->crowded(server->context, newcomer->user);
    if (text != NULL)
        server_client_displace(newcomer, text);
}

/* The log hears of it once, and again when half of the places are free. */
static void note_refusal(struct server *server)
{
    if (server->refused++ == 0)
        log_line(LOG_PRIORITY_WARNING,
                 "%zu connections are open, %zu of them over TCP: no more are taken for now "
                 "(server.clients is %zu)",
                 server->client_count, server->remote_count, server->most_clients);
}

static void note_room(struct server *server)
{
    if (server->refused == 0 || server->client_count > server->most_clients / 2)
        return;
    log_line(LOG_PRIORITY_NOTICE, "there is room for connections again; %llu were refused",
             (unsigned long long)server->refused);
    server->refused = 0;
}

static void on_accept(struct evconnlistener *listener, evutil_socket_t descriptor,
                      struct sockaddr *address, int length, void *argument)
{
    struct server *server = argument;
    bool local = address->sa_family == AF_UNIX;
    (void)listener;
    (void)length;
    if (!local)
        tune_tcp(descriptor);
    if (!has_room(server, local))
        drop_those_gone(server);
    if (!has_room(server, local))
        make_room(server, local);
    if (!has_room(server, local)) {
        note_refusal(server);
        server_client_refuse(server, descriptor, local,
                             server->handlers->too_many(server->context));
        return;
    }
    note_room(server);
    struct client *client = server_client_open(server, descriptor, local);
    if (client != NULL)
        look_at_party(server, client);
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

static void on_look_round(evutil_socket_t unused, short what, void *argument)
{
    struct server *server = argument;
    struct client *client;
    struct moment now = monotonic_now();
    (void)unused;
    (void)what;
    LIST_FOREACH(client, &server->clients, entry)
    {
        const char *text =
            client->closing || server->handlers->overdue == NULL
                ? NULL
                : server->handlers->overdue(server->context, client->user, client->said,
                                            moment_since(now, client->heard));
        if (text != NULL)
            server_client_displace(client, text);
    }
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
    server_patience(server, default_patience_s);
    server->resume_accepting = evtimer_new(base, on_resume_accepting, server);
    server->turn = evtimer_new(base, server_turn, server);
    server->look_round = event_new(base, -1, EV_PERSIST, on_look_round, server);
    if (server->resume_accepting == NULL || server->look_round == NULL || server->turn == NULL ||
        event_add(server->look_round, &look_each) != 0) {
        if (server->resume_accepting != NULL)
            event_free(server->resume_accepting);
        if (server->look_round != NULL)
            event_free(server->look_round);
        if (server->turn != NULL)
            event_free(server->turn);
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
    event_free(server->look_round);
    SSL_CTX_free(server->tls);
    struct client *client = LIST_FIRST(&server->clients);
    while (client != NULL) {
        struct client *next = LIST_NEXT(client, entry);
        server_client_free(client);
        client = next;
    }
    event_free(server->turn);
    free(server);
}

void server_limit(struct server *server, size_t line_limit, size_t clients)
{
    struct client *client;
    server->line_limit = line_limit;
    server->most_clients = clients;
    LIST_FOREACH(client, &server->clients, entry)
    server_client_regulate(client);
}

void server_encrypt(struct server *server, struct ssl_ctx_st *tls)
{
    if (tls != NULL)
        SSL_CTX_up_ref(tls);
    SSL_CTX_free(server->tls);
    server->tls = tls;
}

void server_patience(struct server *server, double quiet_s)
{
    server->patience = duration_of_seconds(quiet_s);
}

static bool is_local(int descriptor)
{
    struct sockaddr_storage address = { 0 };
    socklen_t length = sizeof address;
    return getsockname(descriptor, (struct sockaddr *)&address, &length) == 0 &&
           address.ss_family == AF_UNIX;
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
    server->has_local = server->has_local || is_local(descriptor);
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
