/* SPDX-License-Identifier: GPL-3.0-or-later */
/* One connection: its lines, its answers, and how it ends. */
#include "drivers/basics/deadline.h"
#include "server_priv.h"

#include <event2/buffer.h>
#include <event2/bufferevent.h>
#include <event2/bufferevent_ssl.h>
#include <event2/event.h>
#include <openssl/ssl.h>
#include <poll.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>

/* Connections that linger at a time, to be told why they end; more are closed at once. */
enum { LINES_A_TURN = 64, LINGERING_MOST = 64 };

static const struct timeval stuck_after = { 60, 0 };   /* no byte could be sent for so long */
static const struct timeval linger_at_most = { 5, 0 }; /* for a client that is being closed */
static const struct timeval at_once = { 0, 0 };
static const struct timeval look_every = { SERVER_LOOK_S, 0 };

size_t server_client_unsent(const struct client *client)
{
    return evbuffer_get_length(bufferevent_get_output(client->events));
}

/* Tells the owner that the client is gone; once. */
static void client_leave(struct client *client)
{
    void *user = client->user;
    client->user = NULL;
    server_client_unready(client);
    if (user != NULL)
        client->server->handlers->closed(client->server->context, user);
}

/* Frees a client that is in no list; closes its descriptor if it has got that far. */
static void client_destroy(struct client *client)
{
    server_client_unready(client);
    if (client->turn != NULL)
        event_free(client->turn);
    if (client->linger != NULL)
        event_free(client->linger);
    if (client->look != NULL)
        event_free(client->look);
    if (client->events != NULL)
        bufferevent_free(client->events);
    free(client);
}

static void count_in(const struct client *client)
{
    client->server->client_count++;
    if (!client->local)
        client->server->remote_count++;
}

static void count_out(const struct client *client)
{
    client->server->client_count--;
    if (!client->local)
        client->server->remote_count--;
}

void server_client_close(struct client *client)
{
    if (client->closing)
        return;
    client->closing = true;
    count_out(client);
    client->server->closing_count++;
}

void server_client_free(struct client *client)
{
    client_leave(client);
    server_client_close(client);
    client->server->closing_count--;
    LIST_REMOVE(client, entry);
    client_destroy(client);
}

/* Ends what is sent to a client; with TLS it is told that nothing was cut off. */
static void end_stream(const struct client *client)
{
    if (client->encrypted)
        SSL_shutdown(bufferevent_openssl_get_ssl(client->events));
    shutdown(bufferevent_getfd(client->events), SHUT_WR);
}

/* Goes on with closing a client if everything is sent. It may be gone after. */
static void client_flushed(struct client *client)
{
    if (server_client_unsent(client) > 0)
        return;
    if (client->ended)
        server_client_free(client);
    else
        end_stream(client);
}

/*
 * Closes a client once everything is sent. Until then its input is read and
 * thrown away, or the kernel would reset the connection and with it what the
 * client has not read yet.
 */
static void client_finish(struct client *client)
{
    server_client_close(client);
    client_leave(client);
    evtimer_add(client->linger,
                client->server->closing_count > LINGERING_MOST ? &at_once : &linger_at_most);
    if (!client->ended)
        bufferevent_enable(client->events, EV_READ);
    if (server_client_unsent(client) == 0)
        end_stream(client);
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

/* Hands over one line of `length` bytes. False when it ends the connection: no memory, no client. */
static bool serve_line(struct client *client, struct evbuffer *input, size_t length)
{
    const struct server *server = client->server;
    const unsigned char *bytes = evbuffer_pullup(input, (ev_ssize_t)length + 1);
    if (bytes == NULL)
        return false;
    client->heard = monotonic_now();
    client->said = true;
    bool taken = server->handlers->line(server->context, client->user, (const char *)bytes, length);
    evbuffer_drain(input, length + 1);
    return taken;
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
    return serve_line(client, input, length) ? LINE_TAKEN : LINE_REFUSED;
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

/* Takes the next line; false when that was all for now. */
static bool serve_next(struct client *client)
{
    if (client_waits(client))
        return false;
    enum line_outcome outcome = next_line(client);
    if (outcome == LINE_REFUSED) {
        client_finish(client);
        discard_input(client);
    }
    return outcome == LINE_TAKEN;
}

/*
 * How much of what comes is taken in ahead of its turn. Not by a watermark where there is TLS: what
 * its library has taken off the socket before a watermark holds it back wakes nobody later.
 */
void server_client_regulate(struct client *client)
{
    size_t most = client->server->line_limit;
    if (!client->encrypted) {
        bufferevent_setwatermark(client->events, EV_READ, 0, most + 1);
        return;
    }
    if (client->ended || client->closing || client->waiting)
        return;
    if (evbuffer_get_length(bufferevent_get_input(client->events)) > most)
        bufferevent_disable(client->events, EV_READ);
    else
        bufferevent_enable(client->events, EV_READ);
}

/* Goes on with what was begun, or takes the next line; false when that was all for now. */
static bool serve_some(struct client *client)
{
    const struct server *server = client->server;
    return (server->handlers->go_on != NULL &&
            server->handlers->go_on(server->context, client->user)) ||
           serve_next(client);
}

bool server_client_serve(struct client *client)
{
    bool more = true;
    client->taking = true;
    for (int taken = 0;
         more && taken < LINES_A_TURN && (taken == 0 || !server_tired(client->server)); taken++)
        more = serve_some(client);
    client->taking = false;
    if (client->encrypted)
        server_client_regulate(client);
    return more;
}

bool server_client_gone(const struct client *client)
{
    struct pollfd look = { .fd = bufferevent_getfd(client->events) };
    return poll(&look, 1, 0) > 0 && (look.revents & (POLLHUP | POLLERR)) != 0;
}

static enum client_claim claim_of(const struct client *client)
{
    const struct server *server = client->server;
    return server->handlers->claim == NULL ? CLIENT_IDLE
                                           : server->handlers->claim(server->context, client->user);
}

/*
 * Looks whether a client whose stream has ended is there still, and later
 * again. A blank before the next line means nothing in JSON, but a system whose
 * client has closed answers it with a reset.
 */
static void client_look(struct client *client)
{
    if (client->encrypted && server_client_unsent(client) == 0)
        bufferevent_write(client->events, " ", 1);
    else if (!client->local && claim_of(client) == CLIENT_FOLLOWS &&
             server_client_unsent(client) == 0)
        send(bufferevent_getfd(client->events), " ", 1, MSG_DONTWAIT | MSG_NOSIGNAL);
    if (server_client_gone(client))
        server_client_free(client);
    else
        evtimer_add(client->look, &look_every);
}

void server_client_review(struct client *client)
{
    if (!client->ended || client->closing || client->waiting || server_client_unsent(client) > 0 ||
        server_client_is_due(client))
        return;
    enum client_claim claim = claim_of(client);
    if (claim == CLIENT_IDLE || claim == CLIENT_HOLDS)
        server_client_free(client);
    else if (!evtimer_pending(client->look, NULL))
        client_look(client);
}

static void on_look(evutil_socket_t unused, short what, void *argument)
{
    struct client *client = argument;
    (void)unused;
    (void)what;
    if (!client->closing)
        client_look(client);
}

static void on_readable(struct bufferevent *events, void *argument)
{
    struct client *client = argument;
    (void)events;
    if (client->closing)
        discard_input(client);
    else
        server_client_ready(client);
}

static void on_turn(evutil_socket_t unused, short what, void *argument)
{
    struct client *client = argument;
    (void)unused;
    (void)what;
    if (!client->closing)
        server_client_ready(client);
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
        server_client_ready(client);
    } else {
        server_client_review(client);
    }
}

/* The client's stream has ended, or failed, or the client has not taken a byte for a minute. */
static void on_event(struct bufferevent *events, short what, void *argument)
{
    struct client *client = argument;
    if ((what & BEV_EVENT_CONNECTED) != 0) {
        if (client->user != NULL && client->server->handlers->secured != NULL)
            client->server->handlers->secured(client->server->context, client->user,
                                              bufferevent_openssl_get_ssl(events));
        return;
    }
    bool closed = client->closing && server_client_unsent(client) == 0;
    if ((what & BEV_EVENT_EOF) == 0 || closed || server_client_gone(client)) {
        server_client_free(client);
        return;
    }
    client->ended = true;
    bufferevent_disable(events, EV_READ);
    server_client_review(client);
}

static void on_linger(evutil_socket_t unused, short what, void *argument)
{
    (void)unused;
    (void)what;
    server_client_free(argument);
}

/* Bytes as they are, or through TLS where that is asked for over TCP. */
static struct bufferevent *make_events(struct client *client, evutil_socket_t descriptor)
{
    const struct server *server = client->server;
    client->encrypted = !client->local && server->tls != NULL;
    if (!client->encrypted)
        return bufferevent_socket_new(server->base, descriptor, BEV_OPT_CLOSE_ON_FREE);
    SSL *tls = SSL_new(server->tls);
    if (tls == NULL)
        return NULL;
    /* Owns the session once it is made. */
    struct bufferevent *events = bufferevent_openssl_socket_new(
        server->base, descriptor, tls, BUFFEREVENT_SSL_ACCEPTING, BEV_OPT_CLOSE_ON_FREE);
    if (events == NULL)
        SSL_free(tls);
    return events;
}

/* The client with its events, or NULL; the descriptor then is the caller's still. */
static struct client *client_new(struct server *server, evutil_socket_t descriptor, bool local)
{
    struct client *client = calloc(1, sizeof *client);
    if (client == NULL)
        return NULL;
    client->server = server;
    client->local = local;
    client->turn = evtimer_new(server->base, on_turn, client);
    client->linger = evtimer_new(server->base, on_linger, client);
    client->look = evtimer_new(server->base, on_look, client);
    if (client->turn != NULL && client->linger != NULL && client->look != NULL)
        client->events = make_events(client, descriptor);
    if (client->events == NULL) {
        client_destroy(client);
        return NULL;
    }
    client->heard = monotonic_now();
    client->id = ++server->last_id;
    LIST_INSERT_HEAD(&server->clients, client, entry);
    count_in(client);
    bufferevent_setcb(client->events, on_readable, on_written, on_event, client);
    server_client_regulate(client);
    bufferevent_setwatermark(client->events, EV_WRITE, SERVER_BACKLOG / 2, 0);
    bufferevent_set_timeouts(client->events, NULL, &stuck_after);
    return client;
}

void server_client_displace(struct client *client, const char *text)
{
    bufferevent_write(client->events, text, strlen(text));
    client_finish(client);
    discard_input(client);
}

void server_client_refuse(struct server *server, evutil_socket_t descriptor, bool local,
                          const char *text)
{
    struct client *client = client_new(server, descriptor, local);
    if (client == NULL) {
        evutil_closesocket(descriptor);
        return;
    }
    bufferevent_enable(client->events, EV_READ | EV_WRITE);
    server_client_displace(client, text);
}

struct client *server_client_open(struct server *server, evutil_socket_t descriptor, bool local)
{
    struct client *client = client_new(server, descriptor, local);
    if (client == NULL) {
        evutil_closesocket(descriptor);
        return NULL;
    }
    client->user = server->handlers->opened(server->context, client);
    if (client->user == NULL) {
        server_client_free(client);
        return NULL;
    }
    bufferevent_enable(client->events, EV_READ | EV_WRITE);
    return client;
}

void server_idle(struct client *client)
{
    if (client->ended)
        server_client_ready(client);
}

bool server_is_going(const struct client *client)
{
    return client->closing;
}

bool server_is_slow(const struct client *client)
{
    return server_client_unsent(client) > SERVER_BACKLOG;
}

int server_client_descriptor(const struct client *client)
{
    return bufferevent_getfd(client->events);
}

bool server_client_is_local(const struct client *client)
{
    return client->local;
}

uint64_t server_client_id(const struct client *client)
{
    return client->id;
}
