/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "daemon_priv.h"

#include "daemon/basics/log.h"
#include "daemon/basics/wall_clock.h"
#include "daemon/calls/calls.h"
#include "daemon/calls/methods.h"
#include "daemon/loop/references.h"

#include <event2/event.h>
#include <signal.h>
#include <stdlib.h>
#include <string.h>
#include <sys/resource.h>
#include <unistd.h>

/* How long clients have to take their last answers. */
static const struct duration flush_time = { 3 * SECOND_NS };
/* Descriptors that are neither clients nor instruments. */
enum { OWN_DESCRIPTORS = 96 };

static const struct timeval flush_look = { 0, 5000 };
/* How long instruments may take to let go; with the flush and the store within TimeoutStopSec=. */
static const struct timeval let_go_time = { 40, 0 };

/* A job is back, whether or not somebody still waits for it. */
static void on_returned(void *context, struct job *job)
{
    struct daemon *daemon = context;
    bool good = job->capture.reading.failure.code == FAILURE_NONE;
    if (job->kind == JOB_GLANCE)
        return;
    if (!good)
        daemon->loop.counters.failures++;
    else if (job->kind != JOB_TALK)
        daemon->loop.counters.readings++;
    if (good && job->kind != JOB_TALK)
        job->sequence = ++daemon->loop.sequence;
    if (job->kind == JOB_MEASURE)
        publish_reading(&daemon->loop.publish, job);
    if (job->point != NULL && job->own_point == NULL && moment_is_set(job->started) &&
        job->bench == daemon->loop.bench)
        daemon->loop.last[job->point->index] = job->memory;
}

static void on_changed(void *context, const char *instrument, bool away)
{
    struct daemon *daemon = context;
    struct happening event = { .kind = away ? EVENT_INSTRUMENT_DOWN : EVENT_INSTRUMENT_BACK,
                               .subject = instrument,
                               .plan = "" };
    publish_event(&daemon->loop.publish, &event);
}

static void on_idle(void *context, struct session *session)
{
    (void)context;
    session->ops->idle(session->peer);
}

/* Leaves the loop once every client has its last answers, or had time enough to take them. */
static void on_flush(evutil_socket_t unused, short what, void *context)
{
    struct daemon *daemon = context;
    (void)unused;
    (void)what;
    bool told = !server_unsent(daemon->service.server) && answers_none(daemon->service.answers);
    if (told || moment_before(daemon->flush_until, monotonic_now()))
        event_base_loopbreak(daemon->loop.base);
}

static void on_crew_ended(void *context)
{
    struct daemon *daemon = context;
    evtimer_del(daemon->late);
    daemon->flush_until = moment_plus(monotonic_now(), flush_time);
    event_add(daemon->flushed, &flush_look);
}

/* A worker is in one acquisition that lasts, and only it may touch its link: that is left as it is. */
static void on_late(evutil_socket_t unused, short what, void *context)
{
    struct daemon *daemon = context;
    (void)unused;
    (void)what;
    log_line(LOG_PRIORITY_WARNING,
             "an instrument has not let go within %ld s, and is left as it is",
             (long)let_go_time.tv_sec);
    daemon->abandoned = true;
    on_crew_ended(daemon);
}

void daemon_stop(struct daemon *daemon)
{
    evtimer_add(daemon->late, &let_go_time);
    daemon->loop.stopping = true;
    service_manager_tell(&daemon->options->manager, "STOPPING=1\nSTATUS=stopping");
    server_deafen(daemon->service.server);
    daemon_unlink(daemon);
    follow_stop(daemon->service.follow);
    burnin_follow_stop(daemon->service.burnin_follow);
    walks_stop(daemon->service.walks);
    burnin_pause(daemon->service.burnin);
    crew_stop(daemon->loop.crew);
}

static void on_end_signal(evutil_socket_t number, short what, void *context)
{
    struct daemon *daemon = context;
    (void)what;
    if (daemon->loop.stopping) {
        log_line(LOG_PRIORITY_WARNING, "signal %d again: stopping at once", (int)number);
        signal((int)number, SIG_DFL);
        raise((int)number);
    }
    log_line(LOG_PRIORITY_NOTICE, "signal %d: stopping once the measurements under way are done",
             (int)number);
    daemon_stop(daemon);
}

static void on_reload_signal(evutil_socket_t number, short what, void *context)
{
    struct daemon *daemon = context;
    (void)number;
    (void)what;
    if (!daemon->loop.stopping)
        daemon_reload(daemon);
}

/*
 * What means nothing to the daemon does not end it either. A pipe without a
 * reader and a file that may not grow show where they are written.
 */
static bool ignore_signals(void)
{
    static const int none[] = {
        SIGPIPE,   SIGXFSZ, SIGUSR1, SIGUSR2, SIGALRM, SIGTTOU,  SIGTTIN,
        SIGVTALRM, SIGPROF, SIGIO,   SIGURG,  SIGPWR,  SIGWINCH, SIGSTKFLT
    };
    for (size_t i = 0; i < sizeof none / sizeof *none; i++)
        if (signal(none[i], SIG_IGN) == SIG_ERR)
            return false;
    for (int number = SIGRTMIN; number <= SIGRTMAX; number++)
        signal(number, SIG_IGN);
    return true;
}

static bool catch_signals(struct daemon *daemon)
{
    daemon->signals[0] = evsignal_new(daemon->loop.base, SIGTERM, on_end_signal, daemon);
    daemon->signals[1] = evsignal_new(daemon->loop.base, SIGINT, on_end_signal, daemon);
    daemon->signals[2] = evsignal_new(daemon->loop.base, SIGHUP, on_reload_signal, daemon);
    for (size_t i = 0; i < DAEMON_SIGNALS; i++)
        if (daemon->signals[i] == NULL || evsignal_add(daemon->signals[i], NULL) != 0)
            return false;
    return ignore_signals();
}

static void write_end_text(char text[DAEMON_END_TEXT], enum failure_code code, const char *what)
{
    snprintf(text, DAEMON_END_TEXT,
             "{\"jsonrpc\":\"2.0\",\"error\":{\"code\":%d,\"message\":\"%s\",\"data\":{\"reason\":"
             "\"%s\",\"what\":\"%s\"%s}},\"id\":null}\n",
             failure_rpc_code(code), failure_reason(code), failure_reason(code), what,
             code == FAILURE_CONNECTIONS ? ",\"retry_ms\":1000" : "");
}

/* The texts for clients too many are made ahead: there may be no memory when they are wanted. */
static void write_end_texts(struct daemon *daemon)
{
    write_end_text(daemon->full_text, FAILURE_CONNECTIONS,
                   "as many connections are open as server.clients allows, and none of them has "
                   "been quiet for long (server.quiet_s); over TCP an eighth is kept back");
    write_end_text(daemon->displaced_text, FAILURE_CONNECTIONS,
                   "this connection was quiet for longer than server.quiet_s (ten times that while "
                   "it follows or holds something), and another one needed its place");
    write_end_text(daemon->crowded_text, FAILURE_CONNECTIONS,
                   "you have as many connections as server.quotas.connections allows one user, "
                   "token or certificate, and none of them has been quiet for long");
    write_end_text(daemon->kept_text, FAILURE_CONNECTIONS,
                   "the last of the connections that server.clients allows are kept for the role "
                   "administer");
    write_end_text(daemon->silent_text, FAILURE_DEADLINE,
                   "this connection said nothing within server.quiet_s");
    write_end_text(daemon->stranger_text, FAILURE_NOT_ALLOWED,
                   "this connection did not say within 10 s who it is: authenticate, or a "
                   "certificate that access.certificates names");
    write_end_text(daemon->revoked_text, FAILURE_NOT_ALLOWED,
                   "the token of this connection has run out, or was taken back");
}

/* Everything but the sockets and the instruments. */
static bool make_parts(struct daemon *daemon)
{
    const struct crew_hooks hooks = { daemon, on_returned, on_idle, on_changed, on_crew_ended };
    daemon->loop.base = event_base_new();
    if (daemon->loop.base == NULL)
        return false;
    daemon->flushed = event_new(daemon->loop.base, -1, EV_PERSIST, on_flush, daemon);
    daemon->late = evtimer_new(daemon->loop.base, on_late, daemon);
    daemon->loop.mailbox = mailbox_new(daemon->loop.base);
    daemon->service.follow = follow_new(&daemon->loop);
    daemon->service.burnin_follow = burnin_follow_new(&daemon->loop);
    daemon->service.answers = answers_new(&daemon->loop);
    daemon->service.walks = walks_new(&daemon->loop);
    daemon->service.probe_checks = probe_checks_new();
    daemon->loop.probe_checks = daemon->service.probe_checks;
    daemon->service.server = server_new(daemon->loop.base, &daemon_server_handlers, daemon);
    if (daemon->flushed == NULL || daemon->late == NULL || daemon->loop.mailbox == NULL ||
        daemon->service.follow == NULL || daemon->service.burnin_follow == NULL ||
        daemon->service.answers == NULL || daemon->service.server == NULL ||
        daemon->service.probe_checks == NULL || daemon->service.walks == NULL)
        return false;
    daemon->service.burnin = burnin_new(&daemon->loop, daemon->service.probe_checks);
    if (daemon->service.burnin == NULL)
        return false;
    daemon->loop.crew = crew_new(daemon->loop.base, daemon->loop.mailbox, &hooks);
    daemon->watchdog = watchdog_new(&daemon->loop, &daemon->options->manager);
    return daemon->loop.crew != NULL && daemon->watchdog != NULL && catch_signals(daemon);
}

/* The store, and what of it is wanted before anything is measured. */
static bool open_records(struct daemon *daemon, struct bench *bench, struct failure *failure)
{
    if (!loop_open_store(&daemon->loop, failure))
        return false;
    references_find(bench);
    if (daemon->loop.store != NULL)
        probe_checks_recall_all(daemon->service.probe_checks, bench->store.path);
    return true;
}

/*
 * Whether there are descriptors for as many clients as the settings allow, and for everything
 * else: a link and a few of its kind an instrument, the store, the command of a trip.
 */
static bool has_descriptors(const struct bench *bench, struct failure *failure)
{
    const rlim_t wanted =
        (rlim_t)bench->server.clients + 4 * (rlim_t)bench->instrument_count + OWN_DESCRIPTORS;
    struct rlimit limit;
    if (getrlimit(RLIMIT_NOFILE, &limit) != 0)
        return true;
    if (limit.rlim_cur < wanted && limit.rlim_max > limit.rlim_cur) {
        limit.rlim_cur = limit.rlim_max < wanted ? limit.rlim_max : wanted;
        setrlimit(RLIMIT_NOFILE, &limit);
    }
    return limit.rlim_cur >= wanted ||
           failure_set(failure, FAILURE_SETTINGS, bench->path,
                       "fewer clients, or LimitNOFILE= in the unit",
                       "server.clients is %d, which with the rest wants %ju descriptors, and there "
                       "are %ju",
                       bench->server.clients, (uintmax_t)wanted, (uintmax_t)limit.rlim_cur);
}

struct daemon *daemon_new(const struct options *options, struct bench *bench,
                          struct failure *failure)
{
    struct daemon *daemon = calloc(1, sizeof *daemon);
    if (daemon == NULL) {
        failure_no_memory(failure, "the daemon");
        return NULL;
    }
    daemon->options = options;
    daemon->loop.bench = bench_ref(bench);
    daemon->service.started_at = monotonic_now();
    daemon->service.started = wall_time_now();
    daemon->service.loop = &daemon->loop;
    daemon->service.access = &daemon->access;
    daemon->rpc = (struct rpc_service) { methods_table(), &daemon->service, daemon_send_reply,
                                         call_admit, daemon_put_off };
    loop_keep(&daemon->loop);
    write_end_texts(daemon);
    bool made = make_parts(daemon) ||
                failure_set(failure, FAILURE_NO_MEMORY, NULL, NULL, "the loop cannot be made");
    if (!made || !has_descriptors(bench, failure) || !open_records(daemon, bench, failure) ||
        !daemon_listen(daemon, failure) || !daemon_deploy(daemon, bench, failure)) {
        daemon_free(daemon);
        return NULL;
    }
    burnin_restore(daemon->service.burnin);
    walks_restore(daemon->service.walks);
    burnin_follow_open(daemon->service.burnin_follow);
    return daemon;
}

void daemon_run(struct daemon *daemon)
{
    daemon_tell_ready(daemon);
    loop_run(&daemon->loop);
}

/* Workers that are left let their instruments go first. */
static void end_crew(struct daemon *daemon)
{
    if (daemon->loop.crew == NULL || daemon->loop.stopping)
        return;
    daemon_stop(daemon);
    event_base_dispatch(daemon->loop.base);
}

void daemon_free(struct daemon *daemon)
{
    if (daemon == NULL)
        return;
    end_crew(daemon);
    watchdog_free(daemon->watchdog);
    server_free(daemon->service.server);
    access_end(&daemon->access);
    loop_close_store(&daemon->loop);
    if (daemon->abandoned) { /* its thread still has what would be freed below */
        daemon_unlink(daemon);
        _exit(EXIT_SUCCESS);
    }
    crew_free(daemon->loop.crew);
    follow_free(daemon->service.follow);
    burnin_free(daemon->service.burnin);
    walks_free(daemon->service.walks);
    burnin_follow_free(daemon->service.burnin_follow);
    answers_free(daemon->service.answers);
    probe_checks_free(daemon->service.probe_checks);
    mailbox_free(daemon->loop.mailbox);
    daemon_unlink(daemon);
    for (size_t i = 0; i < DAEMON_SIGNALS; i++)
        if (daemon->signals[i] != NULL)
            event_free(daemon->signals[i]);
    if (daemon->flushed != NULL)
        event_free(daemon->flushed);
    if (daemon->late != NULL)
        event_free(daemon->late);
    if (daemon->loop.base != NULL)
        event_base_free(daemon->loop.base);
    text_free(&daemon->loop.scratch);
    text_free(&daemon->loop.notification);
    free(daemon->loop.last);
    bench_unref(daemon->loop.bench);
    free(daemon);
}
