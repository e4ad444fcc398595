/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "daemon_priv.h"

#include "daemon/basics/log.h"
#include "daemon/calls/methods.h"
#include "daemon/loop/references.h"

#include <event2/event.h>
#include <signal.h>
#include <stdlib.h>
#include <string.h>

/* How long clients have to take their last answers. */
static const int64_t flush_time = INT64_C(3000000000);
static const struct timeval flush_look = { 0, 5000 };

static void *on_opened(void *context, struct client *client)
{
    (void)context;
    struct session *session = calloc(1, sizeof *session);
    if (session == NULL)
        return NULL;
    session->client = client;
    session->id = server_client_id(client);
    return session;
}

static void on_closed(void *context, void *user)
{
    struct daemon *daemon = context;
    struct session *session = user;
    follow_dismiss(daemon->follow, session);
    burnin_follow_dismiss(daemon->burnin_follow, session);
    crew_dismiss(daemon->crew, session);
    answers_dismiss(daemon->answers, session);
    free(session);
}

static void on_line(void *context, void *user, const char *line, size_t length)
{
    struct daemon *daemon = context;
    daemon->counters.requests++;
    rpc_line(&daemon->service, user, line, length);
}

static void on_too_long(void *context, void *user)
{
    struct daemon *daemon = context;
    const struct session *session = user;
    struct text text = { 0 };
    rpc_bare_error(&text, RPC_PARSE_ERROR, NULL,
                   "the line is longer than server.line_limit allows; the connection is closed");
    if (!text.failed)
        server_send(session->client, text.bytes, text.length);
    daemon->counters.requests++;
    text_free(&text);
}

static const char *on_too_many(void *context)
{
    const struct daemon *daemon = context;
    return daemon->full_text;
}

static bool on_busy(void *context, void *user)
{
    const struct session *session = user;
    (void)context;
    return session->jobs > 0 || session->subscriptions > 0 || session->answers > 0;
}

static const struct server_handlers server_handlers = {
    .opened = on_opened,
    .line = on_line,
    .too_long = on_too_long,
    .too_many = on_too_many,
    .closed = on_closed,
    .busy = on_busy,
};

static void send_reply(void *context, void *peer, const char *text, size_t length)
{
    const struct session *session = peer;
    (void)context;
    server_send(session->client, text, length);
}

/* A job is back, whether or not somebody still waits for it. */
static void on_returned(void *context, struct job *job)
{
    struct daemon *daemon = context;
    bool good = job->capture.reading.failure.code == FAILURE_NONE;
    if (!good)
        daemon->counters.failures++;
    else if (job->kind != JOB_TALK)
        daemon->counters.readings++;
    if (good && job->kind != JOB_TALK)
        job->sequence = ++daemon->sequence;
    if (job->kind == JOB_MEASURE && job->started != 0)
        daemon_keep(daemon, job);
    if (job->point != NULL && job->apart == NULL && job->started != 0 &&
        job->bench == daemon->bench)
        daemon->last[job->point->index] = job->memory;
}

static void on_idle(void *context, struct session *session)
{
    (void)context;
    server_idle(session->client);
}

/* Leaves the loop once every client has its last answers, or had time enough to take them. */
static void on_flush(evutil_socket_t unused, short what, void *context)
{
    struct daemon *daemon = context;
    (void)unused;
    (void)what;
    bool told = !server_unsent(daemon->server) && answers_none(daemon->answers);
    if (told || monotonic_now() > daemon->flush_until)
        event_base_loopbreak(daemon->base);
}

static void on_crew_ended(void *context)
{
    struct daemon *daemon = context;
    daemon->flush_until = monotonic_now() + flush_time;
    event_add(daemon->flushed, &flush_look);
}

void daemon_stop(struct daemon *daemon)
{
    daemon->stopping = true;
    server_deafen(daemon->server);
    daemon_unlink(daemon);
    follow_stop(daemon->follow);
    burnin_follow_stop(daemon->burnin_follow);
    burnin_pause(daemon->burnin);
    crew_stop(daemon->crew);
}

static void on_end_signal(evutil_socket_t number, short what, void *context)
{
    struct daemon *daemon = context;
    (void)what;
    if (daemon->stopping) {
        log_line(LOG_PRIORITY_WARNING, "signal %d again: ending at once", (int)number);
        signal((int)number, SIG_DFL);
        raise((int)number);
    }
    log_line(LOG_PRIORITY_NOTICE, "signal %d: ending once what is under way is done", (int)number);
    daemon_stop(daemon);
}

static void on_reload_signal(evutil_socket_t number, short what, void *context)
{
    struct daemon *daemon = context;
    (void)number;
    (void)what;
    if (!daemon->stopping)
        daemon_reload(daemon);
}

static bool catch_signals(struct daemon *daemon)
{
    daemon->signals[0] = evsignal_new(daemon->base, SIGTERM, on_end_signal, daemon);
    daemon->signals[1] = evsignal_new(daemon->base, SIGINT, on_end_signal, daemon);
    daemon->signals[2] = evsignal_new(daemon->base, SIGHUP, on_reload_signal, daemon);
    for (size_t i = 0; i < DAEMON_SIGNALS; i++)
        if (daemon->signals[i] == NULL || evsignal_add(daemon->signals[i], NULL) != 0)
            return false;
    /* A pipe without a reader and a file that may not grow show where they are written. */
    return signal(SIGPIPE, SIG_IGN) != SIG_ERR && signal(SIGXFSZ, SIG_IGN) != SIG_ERR;
}

/* The text for a client too many is made ahead: there may be no memory when it is wanted. */
static void write_full_text(struct daemon *daemon)
{
    snprintf(daemon->full_text, sizeof daemon->full_text,
             "{\"jsonrpc\":\"2.0\",\"error\":{\"code\":%d,\"message\":\"%s\",\"data\":{\"reason\":"
             "\"%s\",\"what\":\"server.clients connections are open already\"}},\"id\":null}\n",
             failure_rpc_code(FAILURE_OVERLOADED), failure_reason(FAILURE_OVERLOADED),
             failure_reason(FAILURE_OVERLOADED));
}

/* Everything but the sockets and the instruments. */
static bool make_parts(struct daemon *daemon)
{
    const struct crew_hooks hooks = { daemon, on_returned, on_idle, on_crew_ended };
    daemon->base = event_base_new();
    if (daemon->base == NULL)
        return false;
    daemon->flushed = event_new(daemon->base, -1, EV_PERSIST, on_flush, daemon);
    daemon->mailbox = mailbox_new(daemon->base);
    daemon->follow = follow_new(daemon);
    daemon->burnin_follow = burnin_follow_new(daemon);
    daemon->answers = answers_new(daemon);
    daemon->probe_checks = probe_checks_new();
    daemon->server = server_new(daemon->base, &server_handlers, daemon);
    if (daemon->flushed == NULL || daemon->mailbox == NULL || daemon->follow == NULL ||
        daemon->burnin_follow == NULL || daemon->answers == NULL || daemon->server == NULL ||
        daemon->probe_checks == NULL)
        return false;
    daemon->burnin = burnin_new(daemon);
    if (daemon->burnin == NULL)
        return false;
    daemon->crew = crew_new(daemon->base, daemon->mailbox, &hooks);
    return daemon->crew != NULL && catch_signals(daemon);
}

/* The store, and what of it is wanted before anything is measured. */
static bool open_records(struct daemon *daemon, struct bench *bench, struct failure *failure)
{
    if (!daemon_open_store(daemon, failure))
        return false;
    references_find(bench);
    daemon_recall_probe_checks(daemon);
    return true;
}

struct daemon *daemon_new(const struct options *options, struct bench *bench,
                          struct failure *failure)
{
    struct daemon *daemon = calloc(1, sizeof *daemon);
    if (daemon == NULL) {
        failure_set(failure, FAILURE_NO_MEMORY, NULL, NULL, "no memory for the daemon");
        return NULL;
    }
    daemon->options = options;
    daemon->bench = bench_ref(bench);
    daemon->started_at = monotonic_now();
    clock_gettime(CLOCK_REALTIME, &daemon->started);
    daemon->service = (struct rpc_service) { methods_table(), daemon, send_reply };
    write_full_text(daemon);
    bool made = make_parts(daemon) ||
                failure_set(failure, FAILURE_NO_MEMORY, NULL, NULL, "the loop cannot be made");
    if (!made || !open_records(daemon, bench, failure) || !daemon_listen(daemon, failure) ||
        !daemon_deploy(daemon, bench, failure)) {
        daemon_free(daemon);
        return NULL;
    }
    burnin_restore(daemon->burnin);
    burnin_follow_open(daemon->burnin_follow);
    return daemon;
}

void daemon_run(struct daemon *daemon)
{
    event_base_dispatch(daemon->base);
}

/* Workers that are left let their instruments go first. */
static void end_crew(struct daemon *daemon)
{
    if (daemon->crew == NULL || daemon->stopping)
        return;
    daemon_stop(daemon);
    event_base_dispatch(daemon->base);
}

void daemon_free(struct daemon *daemon)
{
    if (daemon == NULL)
        return;
    end_crew(daemon);
    server_free(daemon->server);
    daemon_close_store(daemon);
    crew_free(daemon->crew);
    follow_free(daemon->follow);
    burnin_free(daemon->burnin);
    burnin_follow_free(daemon->burnin_follow);
    answers_free(daemon->answers);
    probe_checks_free(daemon->probe_checks);
    mailbox_free(daemon->mailbox);
    daemon_unlink(daemon);
    for (size_t i = 0; i < DAEMON_SIGNALS; i++)
        if (daemon->signals[i] != NULL)
            event_free(daemon->signals[i]);
    if (daemon->flushed != NULL)
        event_free(daemon->flushed);
    if (daemon->base != NULL)
        event_base_free(daemon->base);
    text_free(&daemon->scratch);
    text_free(&daemon->notification);
    free(daemon->last);
    bench_unref(daemon->bench);
    free(daemon);
}
