/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What the listeners (server.c) and the connections (server_client.c) share. */
#ifndef GRADUS_DAEMON_SERVER_PRIV_H
#define GRADUS_DAEMON_SERVER_PRIV_H

#include "daemon/basics/queue.h"
#include "server.h"

#include <event2/util.h>
#include <sys/queue.h>

enum { SERVER_LISTENERS = 4 };

struct bufferevent;
struct event;
struct evconnlistener;

struct client {
    struct server *server;
    struct bufferevent *events;
    bool encrypted;       /* its bytes go through TLS: the socket is not to be touched itself */
    bool said;            /* it has sent a line */
    struct queued ready;  /* in the server's queue, while `queued` */
    uint64_t ready_since; /* the turn it was queued in */
    bool queued;          /* it may have lines that nobody took yet */
    struct event *turn;   /* has it queued once its party may go on */
    struct event *linger; /* closes it whatever it does */
    struct event *look;   /* whether one whose stream has ended is still there */
    void *user;           /* NULL: it never was, or is no more, of interest */
    uint64_t id;
    bool local;          /* it came over the Unix socket */
    struct moment heard; /* its last line, or when it came */
    size_t scanned;      /* bytes of the input known to hold no newline */
    bool waiting;        /* it reads too slowly: its lines are left alone */
    bool taking;         /* its lines are being taken: answers to them are sent together */
    bool closing;        /* what is to be sent is sent, nothing more is taken; counts no more */
    bool ended;          /* its stream has ended: closed once nothing more is to come for it */
    LIST_ENTRY(client) entry;
};

LIST_HEAD(client_list, client);

struct server {
    struct event_base *base;
    const struct server_handlers *handlers;
    void *context;
    struct evconnlistener *listeners[SERVER_LISTENERS];
    struct event *resume_accepting;
    struct queue ready; /* clients that may have lines; parties in turn */
    struct event *turn; /* takes some of these */
    uint64_t turns;     /* that there were */
    struct moment tired_at;
    struct event *look_round; /* whether somebody must go, each second */
    struct ssl_ctx_st *tls;   /* for new connections over TCP; NULL: none */
    size_t listener_count;
    size_t line_limit;
    size_t most_clients;
    size_t client_count; /* without those that are closing */
    size_t remote_count; /* those of them that came over TCP */
    size_t closing_count;
    bool has_local;           /* it listens at a Unix socket */
    struct duration patience; /* see server_patience() */
    uint64_t refused;         /* since there was room last */
    uint64_t last_id;
    struct client_list clients;
};

/* Serves a new connection, which owns the descriptor; NULL, closing it, when that cannot be. */
struct client *server_client_open(struct server *server, evutil_socket_t descriptor, bool local);

/* Turns a new connection away with a text; owns the descriptor. */
void server_client_refuse(struct server *server, evutil_socket_t descriptor, bool local,
                          const char *text);

/* Closes a connection once it has taken a text. */
void server_client_displace(struct client *client, const char *text);

/* Whether the other side has closed altogether, and not only ended its own stream. */
bool server_client_gone(const struct client *client);

/* server_turn.c: queues a client whose lines are to be looked at. */
void server_client_ready(struct client *client);

/* server_turn.c: whether it is queued, or will be by itself. */
bool server_client_is_due(const struct client *client);

/* server_turn.c: the number of its party. */
uint64_t server_client_party(const struct client *client);

/* server_turn.c: takes it out of the queue, if it is in it. */
void server_client_unready(struct client *client);

/* server_turn.c: takes lines in turn; for struct server's `turn`. */
void server_turn(evutil_socket_t unused, short what, void *argument);

/* Takes a client's lines until server_tired(); false when that was all for now. */
bool server_client_serve(struct client *client);

/* Closes a client whose stream has ended once its lines are taken and all answers are sent. */
void server_client_review(struct client *client);

/* From now on its place is free for another; what is to be sent is sent, nothing more is taken. */
void server_client_close(struct client *client);

/* Closes a connection, whatever is to be sent still. */
void server_client_free(struct client *client);

/* Holds back, or lets come again, what a client sends ahead of its turn; see server_limit(). */
void server_client_regulate(struct client *client);

/* Bytes that wait for a client. */
size_t server_client_unsent(const struct client *client);

#endif
