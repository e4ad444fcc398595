/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A new bench in the place of the old one, while jobs of the old one are still under way. */
#include "daemon_priv.h"

#include "daemon/basics/log.h"
#include "daemon/loop/references.h"
#include "daemon/settings/check.h"
#include "daemon/settings/settings.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

bool daemon_deploy(struct daemon *daemon, struct bench *bench, struct failure *failure)
{
    if (!access_load(&daemon->access, &bench->access, failure))
        return false;
    struct measure_memory *last = calloc(bench->point_count + 1, sizeof *last);
    if (last == NULL)
        return failure_no_memory(failure, "the points");
    if (!crew_deploy(daemon->loop.crew, bench, failure)) {
        free(last);
        return false;
    }
    daemon->access.accounts.quotas = bench->server.quotas;
    struct bench *before = daemon->loop.bench;
    free(daemon->loop.last);
    daemon->loop.last = last;
    daemon->loop.bench = bench_ref(bench);
    bench_unref(before);
    burnin_rebind(daemon->service.burnin, bench);
    server_encrypt(daemon->service.server, daemon->access.tls);
    server_limit(daemon->service.server, bench->server.line_limit, (size_t)bench->server.clients);
    server_patience(daemon->service.server, bench->server.quiet_s);
    return true;
}

static bool same_sockets(const struct bench_server *a, const struct bench_server *b)
{
    return strcmp(a->unix_path, b->unix_path) == 0 && strcmp(a->tcp_address, b->tcp_address) == 0 &&
           a->tcp_port == b->tcp_port;
}

static bool same_store(const struct bench_store *a, const struct bench_store *b)
{
    return strcmp(a->path, b->path) == 0 && a->hold == b->hold &&
           a->keep_all_days == b->keep_all_days && a->summary_s == b->summary_s &&
           a->retention_days == b->retention_days && a->ask_percent == b->ask_percent &&
           a->trust_clock == b->trust_clock && a->anchor_s == b->anchor_s &&
           strcmp(a->anchor_key, b->anchor_key) == 0;
}

static void deploy(struct daemon *daemon, struct bench *bench)
{
    char text[600];
    struct failure failure = { 0 };
    if (!same_sockets(&daemon->loop.bench->server, &bench->server))
        log_line(LOG_PRIORITY_WARNING, "%s: other sockets take effect at the next start",
                 bench->path);
    if (!same_store(&daemon->loop.bench->store, &bench->store))
        log_line(LOG_PRIORITY_WARNING, "%s: another store takes effect at the next start",
                 bench->path);
    if (daemon_deploy(daemon, bench, &failure))
        log_line(LOG_PRIORITY_NOTICE, "%s: loaded, %zu instruments, %zu points", bench->path,
                 bench->instrument_count, bench->point_count);
    else
        log_line(LOG_PRIORITY_ERROR, "%s: not loaded, the old settings stay: %s", bench->path,
                 failure_text(&failure, text, sizeof text));
}

void daemon_tell_ready(const struct daemon *daemon)
{
    char text[120];
    snprintf(text, sizeof text, "READY=1\nSTATUS=serving %zu instruments, %zu points",
             daemon->loop.bench->instrument_count, daemon->loop.bench->point_count);
    service_manager_tell(&daemon->options->manager, text);
}

void daemon_reload(struct daemon *daemon)
{
    struct problems problems = { .guarded = check_is_service() };
    service_manager_tell_reloading(&daemon->options->manager, monotonic_now());
    struct bench *bench = settings_load(daemon->options->settings, &problems);
    for (size_t i = 0; i < problems.count; i++)
        log_line(LOG_PRIORITY_ERROR, "%s", problems.lines[i]);
    if (bench != NULL)
        references_find(bench);
    if (bench == NULL)
        log_line(LOG_PRIORITY_ERROR, "%s: not loaded, mistakes: %zu; the old settings stay",
                 daemon->options->settings, problems.total);
    else
        deploy(daemon, bench);
    bench_unref(bench);
    problems_free(&problems);
    daemon_tell_ready(daemon);
}
