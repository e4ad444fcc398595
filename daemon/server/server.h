/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Lines over sockets: listeners, connections, framing, and back-pressure.
 * What the lines mean is not its business.
 *
 * A client that reads slowly delays nobody: once SERVER_BACKLOG bytes wait
 * for it, its requests are left unread until half of them are gone, and if
 * none goes for a minute it is closed, as it is when answers to what it asked
 * before pile up to more than SERVER_MOST bytes. A client that has ended only its own
 * stream gets its answers still, and is closed once there is nothing more to
 * come; one that is gone altogether is closed at once. Over TCP the two look
 * alike until something is sent, so one that ended its stream and follows is
 * sent a blank, which JSON skips, every SERVER_LOOK_S seconds.
 *
 * Nobody keeps a place that others need. Of server_limit()'s clients an eighth
 * is kept back from TCP where there is a Unix socket. When there is no place
 * left, the client that has sent no line for longest gives way, if that is
 * longer than server_patience(): one that holds or follows something after ten
 * times as long, one that waits for an answer never. Else the newcomer is
 * turned away and told why.
 *
 * Lines are taken in turns of SERVER_TURN_MS at most, and then the loop goes on. In a turn
 * those who have a line take it one after the other: first the parties in turn (a party is one
 * principal, however many connections it has), and within a party its connections. Nobody's
 * piece is longer than SERVER_PIECE_MS, unless a single call is; a batch that takes longer
 * goes on when it is its connection's turn again. A party that has used up its share
 * of the loop's time is left alone until it has some again.
 *
 * Everything here is for the loop thread.
 */
#ifndef GRADUS_DAEMON_SERVER_H
#define GRADUS_DAEMON_SERVER_H

#include "core/basics/moment.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

enum { SERVER_BACKLOG = 4 * 1024 * 1024, SERVER_MOST = 64 * 1024 * 1024 };

enum { SERVER_LOOK_S = 10 };

enum { SERVER_TURN_MS = 4, SERVER_PIECE_MS = 1 };

/* What keeps a client here. */
enum client_claim {
    CLIENT_IDLE,    /* nothing */
    CLIENT_HOLDS,   /* something is kept for it; nothing more is to come */
    CLIENT_FOLLOWS, /* more is to come, who knows when */
    CLIENT_WAITS    /* an answer is to come, by a deadline */
};

struct event_base;
struct server;
struct ssl_ctx_st;
struct ssl_st;
struct client;

/* What the server calls. `context` is that of server_new(). */
struct server_handlers {
    /* A client has come. What is returned comes back as `user`; NULL turns it away. */
    void *(*opened)(void *context, struct client *client);
    /*
     * One line without its newline; not terminated. False: whoever sends such a line is no
     * client; the connection is closed once it has been told.
     */
    bool (*line)(void *context, void *user, const char *line, size_t length);
    /*
     * Goes on with what a line of the client's has begun and not ended, until server_tired();
     * true while there is more of it. No other line of the client's is taken before. NULL:
     * lines end at once.
     */
    bool (*go_on)(void *context, void *user);
    /* Whose turn it is when it is the client's: one number for all of a party. NULL: its own. */
    uint64_t (*party)(void *context, void *user);
    /*
     * Whether a newcomer is one too many of its party, or the place is kept for others: the text,
     * with newline, that turns it away; NULL: it may stay. One of its party that has been quiet
     * for too long goes first. NULL: nobody is.
     */
    const char *(*crowded)(void *context, void *user);
    /* How long the client's party is to be left alone. NULL: not at all. */
    struct duration (*pause)(void *context, void *user);
    /* A turn begins: what has come since the last one has been looked at. NULL: never mind. */
    void (*turn)(void *context);
    /* A piece of the client's begins, so many turns after its lines were there. NULL: never mind. */
    void (*begin)(void *context, void *user, uint64_t turns);
    /* What was worked for the client. NULL: nobody wants to know. */
    void (*worked)(void *context, void *user, struct duration worked);
    /* A line was longer than the limit. The client is closed once it has been told. */
    void (*too_long)(void *context, void *user);
    /* There are more clients than allowed: the text, with newline, that turns one away. */
    const char *(*too_many)(void *context);
    /* The text, with newline, for a client that gives way to another. */
    const char *(*displaced)(void *context);
    /* The client is gone; `user` is not used after this. */
    void (*closed)(void *context, void *user);
    /* The client's TLS is agreed on, before its first line. */
    void (*secured)(void *context, void *user, const struct ssl_st *tls);
    /*
     * The text, with newline, that a client is told that must go; NULL: it need not. Asked each
     * second; `said` is whether it ever sent a line, `quiet` how long it has sent none. NULL:
     * nobody must.
     */
    const char *(*overdue)(void *context, void *user, bool said, struct duration quiet);
    /* What keeps the client here. NULL: nothing. */
    enum client_claim (*claim)(void *context, void *user);
};

/* A server with no listeners. `handlers` is borrowed. NULL when memory is short. */
struct server *server_new(struct event_base *base, const struct server_handlers *handlers,
                          void *context);

/* Closes all clients (each with `closed`) and listeners. Accepts NULL. */
void server_free(struct server *server);

/* Sets the longest line in bytes and the most clients at a time; at any time. */
void server_limit(struct server *server, size_t line_limit, size_t clients);

/*
 * What new connections over TCP are encrypted with, counted up; NULL: with nothing. Those that
 * are there go on with what they have.
 */
void server_encrypt(struct server *server, struct ssl_ctx_st *tls);

/* How long a client may be quiet before it can have to give way, seconds; 60 when not set. */
void server_patience(struct server *server, double quiet_s);

/* Accepts connections at a listening, non-blocking descriptor, which it then owns. */
bool server_listen(struct server *server, int descriptor);

/* Accepts no more connections; those that are there stay. */
void server_deafen(struct server *server);

/* How many connections are open now, without those that are only told why they end. */
size_t server_clients(const struct server *server);

/* Whether the piece of a turn that is under way has lasted long enough. */
bool server_tired(const struct server *server);

/* Whether any client still has bytes coming to it. */
bool server_unsent(const struct server *server);

/* Sends a line to a client; `text` comes without newline. Dropped when the client is going. */
void server_send(struct client *client, const char *text, size_t length);

/*
 * Tells that nothing more is to come for a client, perhaps with the last answer still
 * to be sent before the loop goes on: where its stream has ended it is closed.
 */
void server_idle(struct client *client);

/* Whether more than SERVER_BACKLOG bytes wait for the client. */
bool server_is_slow(const struct client *client);

/* Whether the client is being closed: nothing that is sent reaches it any more. */
bool server_is_going(const struct client *client);

/* Its descriptor, to tell who is at the other end; stays the server's. */
int server_client_descriptor(const struct client *client);

/* Whether it came over the Unix socket. */
bool server_client_is_local(const struct client *client);

/* A number of its own for each client there ever was, from 1. */
uint64_t server_client_id(const struct client *client);

#endif
