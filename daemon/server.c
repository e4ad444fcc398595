/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "server.h"

#include "log.h"

#include <errno.h>
#include <event2/buffer.h>
#include <event2/bufferevent.h>
#include <event2/event.h>
#include <event2/listener.h>
#include <event2/util.h>
#include <netinet/in.h>
#include <netinet/tcp.h>
#include <poll.h>
#include <stdlib.h>
#include <string.h>
#include <sys/queue.h>
#include <sys/socket.h>

enum { MAX_LISTENERS = 4, LINES_A_TURN = 64 };

static const struct timeval stuck_after = { 60, 0 };   /* no byte could be sent for so long */
static const struct timeval linger_at_most = { 5, 0 }; /* for a client that is being closed */
static const struct timeval accept_again = { 1, 0 };   /* after running out of descriptors */
static const struct timeval at_once = { 0, 0 };

struct client {
    struct server *server;
    struct bufferevent *events;
    struct event *turn;   /* more of its lines, when it is its turn again */
    struct event *linger; /* closes it whatever it does */
    void *user;           /* NULL: it never was, or is no more, of interest */
    uint64_t id;
    size_t scanned; /* bytes of the input known to hold no newline */
    bool waiting;   /* it reads too slowly: its lines are left alone */
    bool closing;   /* what is to be sent is sent, nothing more is taken */
    bool ended;     /* its stream has ended: closed once nothing more is to come for it */
    LIST_ENTRY(client) entry;
};

LIST_HEAD(client_list, client);

struct server {
    struct event_base *base;
    const struct server_handlers *handlers;
    void *context;
    struct evconnlistener *listeners[MAX_LISTENERS];
    struct event *resume_accepting;
    size_t listener_count;
    size_t line_limit;
    size_t most_clients;
    size_t client_count;
    uint64_t last_id;
    struct client_list clients;
};

static size_t unsent(const struct client *client)
{
    return evbuffer_get_length(bufferevent_get_output(client->events));
}

/* Tells the owner that the client is gone; once. */
static void client_leave(struct client *client)
{
    void *user = client->user;
    client->user = NULL;
    if (user != NULL)
        client->server->handlers->closed(client->server->context, user);
}

/* Frees a client that is in no list; closes its descriptor if it has got that far. */
static void client_destroy(struct client *client)
{
    if (client->turn != NULL)
        event_free(client->turn);
    if (client->linger != NULL)
        event_free(client->linger);
    if (client->events != NULL)
        bufferevent_free(client->events);
    free(client);
}

static void client_free(struct client *client)
{
    client_leave(client);
    LIST_REMOVE(client, entry);
    client->server->client_count--;
    client_destroy(client);
}

/* Goes on with closing a client if everything is sent. It may be gone after. */
static void client_flushed(struct client *client)
{
    if (unsent(client) > 0)
        return;
    if (client->ended)
        client_free(client);
    else
        shutdown(bufferevent_getfd(client->events), SHUT_WR);
}

/*
 * Closes a client once everything is sent. Until then its input is read and
 * thrown away, or the kernel would reset the connection and with it what the
 * client has not read yet.
 */
static void client_finish(struct client *client)
{
    client->closing = true;
    client_leave(client);
    evtimer_add(client->linger, &linger_at_most);
    if (!client->ended)
        bufferevent_enable(client->events, EV_READ);
    if (unsent(client) == 0)
        shutdown(bufferevent_getfd(client->events), SHUT_WR);
}

static void discard_input(struct client *client)
{
    struct evbuffer *input = bufferevent_get_input(client->events);
    evbuffer_drain(input, evbuffer_get_length(input));
}

/* Finds the end of the next line; -1: not there yet. */
static ev_ssize_t find_newline(struct client *client, struct evbuffer *input)
{
    struct evbuffer_ptr start;
    evbuffer_ptr_set(input, &start, client->scanned, EVBUFFER_PTR_SET);
    struct evbuffer_ptr found = evbuffer_search(input, "\n", 1, &start);
    client->scanned = found.pos < 0 ? evbuffer_get_length(input) : 0;
    return found.pos;
}

/* Hands over one line of `length` bytes. False when there is no memory to look at it. */
static bool take_line(struct client *client, struct evbuffer *input, size_t length)
{
    const struct server *server = client->server;
    const unsigned char *bytes = evbuffer_pullup(input, (ev_ssize_t)length + 1);
    if (bytes == NULL)
        return false;
    server->handlers->line(server->context, client->user, (const char *)bytes, length);
    evbuffer_drain(input, length + 1);
    return true;
}

enum line_outcome { LINE_TAKEN, LINE_MISSING, LINE_REFUSED };

static enum line_outcome next_line(struct client *client)
{
    const struct server *server = client->server;
    struct evbuffer *input = bufferevent_get_input(client->events);
    ev_ssize_t end = find_newline(client, input);
    size_t length = end < 0 ? evbuffer_get_length(input) : (size_t)end;
    if (length > server->line_limit) {
        server->handlers->too_long(server->context, client->user);
        return LINE_REFUSED;
    }
    if (end < 0)
        return LINE_MISSING;
    return take_line(client, input, length) ? LINE_TAKEN : LINE_REFUSED;
}

/* Leaves the lines of a slow reader alone until on_written() finds it has caught up. */
static bool client_waits(struct client *client)
{
    if (!client->waiting && server_is_slow(client)) {
        client->waiting = true;
        bufferevent_disable(client->events, EV_READ);
    }
    return client->waiting;
}

/* Takes a client's lines, but only so many before others have their turn. */
static void take_lines(struct client *client)
{
    for (int i = 0; i < LINES_A_TURN; i++) {
        if (client_waits(client))
            return;
        enum line_outcome outcome = next_line(client);
        if (outcome == LINE_REFUSED) {
            client_finish(client);
            discard_input(client);
        }
        if (outcome != LINE_TAKEN)
            return;
    }
    evtimer_add(client->turn, &at_once);
}

/* Closes a client whose stream has ended once its lines are taken and all answers are sent. */
static void client_review(struct client *client)
{
    const struct server *server = client->server;
    if (!client->ended || client->closing || client->waiting || unsent(client) > 0 ||
        evtimer_pending(client->turn, NULL))
        return;
    if (server->handlers->busy == NULL || !server->handlers->busy(server->context, client->user))
        client_free(client);
}

static void on_readable(struct bufferevent *events, void *argument)
{
    struct client *client = argument;
    (void)events;
    if (client->closing)
        discard_input(client);
    else if (!evtimer_pending(client->turn, NULL))
        take_lines(client);
}

static void on_turn(evutil_socket_t unused, short what, void *argument)
{
    struct client *client = argument;
    (void)unused;
    (void)what;
    if (client->closing)
        return;
    take_lines(client);
    client_review(client);
}

/* Called when at most half of the backlog is left. */
static void on_written(struct bufferevent *events, void *argument)
{
    struct client *client = argument;
    if (client->closing) {
        client_flushed(client);
    } else if (client->waiting) {
        client->waiting = false;
        if (!client->ended)
            bufferevent_enable(events, EV_READ);
        evtimer_add(client->turn, &at_once);
    } else {
        client_review(client);
    }
}

/* Whether the other side has closed altogether, and not only ended its own stream. */
static bool is_gone(struct client *client)
{
    struct pollfd look = { .fd = bufferevent_getfd(client->events) };
    return poll(&look, 1, 0) > 0 && (look.revents & (POLLHUP | POLLERR)) != 0;
}

/* The client's stream has ended, or failed, or the client has not taken a byte for a minute. */
static void on_event(struct bufferevent *events, short what, void *argument)
{
    struct client *client = argument;
    (void)events;
    bool closed = client->closing && unsent(client) == 0;
    if ((what & BEV_EVENT_EOF) == 0 || closed || is_gone(client)) {
        client_free(client);
        return;
    }
    client->ended = true;
    client_review(client);
}

static void on_linger(evutil_socket_t unused, short what, void *argument)
{
    (void)unused;
    (void)what;
    client_free(argument);
}

/* The client with its events, or NULL; the descriptor then is the caller's still. */
static struct client *client_new(struct server *server, evutil_socket_t descriptor)
{
    struct client *client = calloc(1, sizeof *client);
    if (client == NULL)
        return NULL;
    client->server = server;
    client->turn = evtimer_new(server->base, on_turn, client);
    client->linger = evtimer_new(server->base, on_linger, client);
    if (client->turn != NULL && client->linger != NULL)
        client->events = bufferevent_socket_new(server->base, descriptor, BEV_OPT_CLOSE_ON_FREE);
    if (client->events == NULL) {
        client_destroy(client);
        return NULL;
    }
    client->id = ++server->last_id;
    LIST_INSERT_HEAD(&server->clients, client, entry);
    server->client_count++;
    return client;
}

static void client_begin(struct client *client)
{
    struct server *server = client->server;
    bufferevent_setcb(client->events, on_readable, on_written, on_event, client);
    bufferevent_setwatermark(client->events, EV_READ, 0, server->line_limit + 1);
    bufferevent_setwatermark(client->events, EV_WRITE, SERVER_BACKLOG / 2, 0);
    bufferevent_set_timeouts(client->events, NULL, &stuck_after);
    client->user = server->handlers->opened(server->context, client);
    if (client->user == NULL)
        client_free(client);
    else
        bufferevent_enable(client->events, EV_READ | EV_WRITE);
}

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
    struct client *client = client_new(server, descriptor);
    if (client == NULL)
        evutil_closesocket(descriptor);
    else
        client_begin(client);
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
        client_free(client);
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
    if (server->listener_count < MAX_LISTENERS)
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
    if (unsent(client) > 0)
        return true;
    return false;
}

void server_send(struct client *client, const char *text, size_t length)
{
    if (client->closing)
        return;
    struct evbuffer *output = bufferevent_get_output(client->events);
    evbuffer_add(output, text, length);
    evbuffer_add(output, "\n", 1);
}

void server_idle(struct client *client)
{
    if (client->ended)
        event_active(client->turn, EV_TIMEOUT, 0);
}

bool server_is_slow(const struct client *client)
{
    return unsent(client) > SERVER_BACKLOG;
}

uint64_t server_client_id(const struct client *client)
{
    return client->id;
}
