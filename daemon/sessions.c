/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Connections of the socket server as sessions: what comes from them, and how they are reached. */
#include "daemon/access/tls.h"
#include "daemon/basics/wall_clock.h"
#include "daemon/server/http_line.h"
#include "daemon_priv.h"

#include <netdb.h>
#include <stdlib.h>
#include <string.h>

static void peer_send(void *peer, const char *text, size_t length)
{
    server_send(peer, text, length);
}

static bool peer_slow(const void *peer)
{
    return server_is_slow(peer);
}

static bool peer_gone(const void *peer)
{
    return server_is_going(peer);
}

static void peer_idle(void *peer)
{
    server_idle(peer);
}

static const struct peer_ops socket_peer = { peer_send, peer_slow, peer_gone, peer_idle };

/* One in so many places is for the role administer only. */
enum { KEPT_FOR_ADMINISTER = 16 };

/* How long somebody over TCP may go without saying who it is. */
static const double stranger_s = 10.0;

/* Where somebody over TCP comes from, for the log and for slowing down who tries tokens. */
static void note_address(struct session *session, int descriptor)
{
    struct sockaddr_storage address = { 0 };
    socklen_t size = sizeof address;
    const struct sockaddr *any = (const struct sockaddr *)&address;
    if (getpeername(descriptor, (struct sockaddr *)&address, &size) != 0 ||
        getnameinfo(any, size, session->address, sizeof session->address, NULL, 0,
                    NI_NUMERICHOST) != 0)
        snprintf(session->address, sizeof session->address, "%.63s", session->who.name);
    session->from = guard_key(&address);
}

/* The account of who it is; a stranger is known by where it comes from. NULL: no memory. */
static struct account *account_of(struct daemon *daemon, const struct session *session)
{
    char name[PRINCIPAL_NAME];
    if (session->who.local || session->who.role > ROLE_NONE)
        return account_join(&daemon->access.accounts, session->who.name, monotonic_now());
    snprintf(name, sizeof name, "somebody at %s", session->address);
    return account_join(&daemon->access.accounts, name, monotonic_now());
}

static void *on_opened(void *context, struct client *client)
{
    struct daemon *daemon = context;
    struct session *session = calloc(1, sizeof *session);
    if (session == NULL)
        return NULL;
    session->ops = &socket_peer;
    session->peer = client;
    session->id = server_client_id(client);
    session->who = server_client_is_local(client)
                       ? principal_of_peer(server_client_descriptor(client),
                                           &daemon->loop.bench->access.people)
                       : principal_stranger();
    note_address(session, server_client_descriptor(client));
    session->account = account_of(daemon, session);
    if (session->account != NULL)
        return session;
    free(session);
    return NULL;
}

static void on_closed(void *context, void *user)
{
    struct daemon *daemon = context;
    struct session *session = user;
    if (session->batch != NULL)
        rpc_abandon(session->batch);
    follow_dismiss(daemon->service.follow, session);
    burnin_follow_dismiss(daemon->service.burnin_follow, session);
    walks_dismiss(daemon->service.walks, session);
    crew_dismiss(daemon->loop.crew, session);
    answers_dismiss(daemon->service.answers, session);
    account_leave(session->account);
    free(session);
}

static bool on_line(void *context, void *user, const char *line, size_t length)
{
    struct daemon *daemon = context;
    const struct session *session = user;
    daemon->loop.counters.requests++;
    if (http_is_request(line, length)) {
        server_send(session->peer, http_refusal(), strlen(http_refusal()));
        return false;
    }
    return rpc_line(&daemon->rpc, user, line, length);
}

static void on_too_long(void *context, void *user)
{
    struct daemon *daemon = context;
    const struct session *session = user;
    struct text text = { 0 };
    rpc_bare_error(&text, RPC_PARSE_ERROR, NULL,
                   "the line is longer than server.line_limit allows; the connection is closed");
    if (!text.failed)
        server_send(session->peer, text.bytes, text.length);
    daemon->loop.counters.requests++;
    text_free(&text);
}

static void on_secured(void *context, void *user, const struct ssl_st *tls)
{
    struct daemon *daemon = context;
    struct session *session = user;
    char subject[TLS_SUBJECT];
    if (!tls_subject(tls, subject))
        return;
    session->who = access_certificate(&daemon->loop.bench->access, subject);
    struct account *account = account_of(daemon, session);
    if (account == NULL)
        return;
    account_leave(session->account);
    session->account = account;
    session->crowded = account_is_crowded(account);
}

static bool on_go_on(void *context, void *user)
{
    struct session *session = user;
    struct rpc_batch *batch = session->batch;
    (void)context;
    session->batch = NULL;
    if (batch != NULL)
        rpc_go_on(batch);
    return session->batch != NULL;
}

bool daemon_put_off(void *context, void *peer, struct rpc_batch *rest)
{
    const struct service *service = context;
    struct session *session = peer;
    if (!server_tired(service->server))
        return false;
    session->batch = rest;
    return true;
}

static uint64_t on_party(void *context, void *user)
{
    const struct session *session = user;
    (void)context;
    return session->account->number;
}

static struct duration on_pause(void *context, void *user)
{
    const struct session *session = user;
    (void)context;
    return account_pause(session->account, monotonic_now());
}

static void on_turn(void *context)
{
    struct daemon *daemon = context;
    loop_stretch_end(&daemon->loop);
}

static void on_begin(void *context, void *user, uint64_t turns)
{
    struct session *session = user;
    (void)context;
    session->waited = turns;
}

static void on_worked(void *context, void *user, struct duration worked)
{
    const struct session *session = user;
    (void)context;
    account_worked(session->account, worked, monotonic_now());
}

/* The last places are for who may mend things. */
static bool keeps_for_administer(const struct daemon *daemon, const struct session *session)
{
    size_t most = (size_t)daemon->loop.bench->server.clients;
    return session->who.local && session->who.role < ROLE_ADMINISTER &&
           server_clients(daemon->service.server) > most - most / KEPT_FOR_ADMINISTER;
}

static const char *on_crowded(void *context, void *user)
{
    const struct daemon *daemon = context;
    const struct session *session = user;
    if (account_is_crowded(session->account))
        return daemon->crowded_text;
    return keeps_for_administer(daemon, session) ? daemon->kept_text : NULL;
}

static const char *on_overdue(void *context, void *user, bool said, struct duration quiet)
{
    struct daemon *daemon = context;
    const struct session *session = user;
    double quiet_s = duration_seconds(quiet);
    if (session->crowded)
        return daemon->crowded_text;
    if (session->token[0] != '\0' &&
        !tokens_hold(&daemon->access.tokens, session->token, wall_time_now()))
        return daemon->revoked_text;
    if (!session->who.local && session->who.role == ROLE_NONE && quiet_s > stranger_s)
        return daemon->stranger_text;
    return !said && quiet_s > daemon->loop.bench->server.quiet_s ? daemon->silent_text : NULL;
}

static const char *on_too_many(void *context)
{
    const struct daemon *daemon = context;
    return daemon->full_text;
}

static const char *on_displaced(void *context)
{
    const struct daemon *daemon = context;
    return daemon->displaced_text;
}

static enum client_claim on_claim(void *context, void *user)
{
    const struct session *session = user;
    (void)context;
    if (session->subscriptions > 0)
        return CLIENT_FOLLOWS; /* also when a reading for it is under way, as one always may be */
    if (session->jobs > 0 || session->answers > 0)
        return CLIENT_WAITS;
    return session->holds > 0 ? CLIENT_HOLDS : CLIENT_IDLE;
}

const struct server_handlers daemon_server_handlers = {
    .opened = on_opened,
    .line = on_line,
    .too_long = on_too_long,
    .too_many = on_too_many,
    .displaced = on_displaced,
    .closed = on_closed,
    .claim = on_claim,
    .secured = on_secured,
    .go_on = on_go_on,
    .party = on_party,
    .pause = on_pause,
    .turn = on_turn,
    .begin = on_begin,
    .worked = on_worked,
    .crowded = on_crowded,
    .overdue = on_overdue,
};

void daemon_send_reply(void *context, void *peer, const char *text, size_t length)
{
    const struct session *session = peer;
    (void)context;
    session->ops->send(session->peer, text, length);
}
