/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Which sockets the daemon listens at, and the file of one that it leaves behind. */
#include "daemon/basics/log.h"
#include "daemon/server/listen.h"
#include "daemon/server/passed_sockets.h"
#include "daemon_priv.h"

#include <stdio.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

/* Remembers which file is the socket, so that only this one is removed at the end. */
static void remember_file(struct daemon *daemon, const char *path)
{
    struct stat status;
    if (lstat(path, &status) != 0)
        return;
    snprintf(daemon->unix_path, sizeof daemon->unix_path, "%s", path);
    daemon->unix_device = status.st_dev;
    daemon->unix_inode = status.st_ino;
}

void daemon_unlink(struct daemon *daemon)
{
    struct stat status;
    if (daemon->unix_path[0] != '\0' && lstat(daemon->unix_path, &status) == 0 &&
        status.st_dev == daemon->unix_device && status.st_ino == daemon->unix_inode)
        unlink(daemon->unix_path);
    daemon->unix_path[0] = '\0';
}

static bool serve_at(struct daemon *daemon, int descriptor, const char *where,
                     struct failure *failure)
{
    return server_listen(daemon->service.server, descriptor) ||
           failure_set(failure, FAILURE_NO_MEMORY, where, NULL, "a listener could not be set up");
}

static bool listen_at_path(struct daemon *daemon, const char *path, struct failure *failure)
{
    int descriptor = listen_unix(path, failure);
    if (descriptor < 0)
        return false;
    remember_file(daemon, path);
    log_line(LOG_PRIORITY_NOTICE, "listening at %s", path);
    return serve_at(daemon, descriptor, path, failure);
}

static bool serve_tcp(struct daemon *daemon, int descriptor, const char *address,
                      struct failure *failure)
{
    if (!access_serves_tcp(&daemon->loop.bench->access, listen_is_loopback(descriptor), failure)) {
        close(descriptor);
        return false;
    }
    log_line(LOG_PRIORITY_NOTICE, "listening at %s port %d", address, listen_port(descriptor));
    return serve_at(daemon, descriptor, address, failure);
}

static bool listen_at_address(struct daemon *daemon, const char *address, int port,
                              struct failure *failure)
{
    int descriptor = listen_tcp(address, port, failure);
    return descriptor >= 0 && serve_tcp(daemon, descriptor, address, failure);
}

/* What a service manager has opened stays its own: its file is there while nobody serves, too. */
static bool serve_passed(struct daemon *daemon, const struct passed_sockets *passed,
                         struct failure *failure)
{
    static const char where[] = "a socket of the service manager";
    if (passed->unix_socket >= 0) {
        log_line(LOG_PRIORITY_NOTICE, "listening at the Unix socket of the service manager");
        if (!serve_at(daemon, passed->unix_socket, where, failure))
            return false;
    }
    return passed->tcp_socket < 0 || serve_tcp(daemon, passed->tcp_socket, where, failure);
}

bool daemon_listen(struct daemon *daemon, struct failure *failure)
{
    struct passed_sockets passed;
    const struct options *options = daemon->options;
    const struct bench_server *server = &daemon->loop.bench->server;
    const char *path = options->unix_path != NULL ? options->unix_path : server->unix_path;
    bool by_option = options->tcp_address[0] != '\0';
    const char *address = by_option ? options->tcp_address : server->tcp_address;
    int port = by_option ? options->tcp_port : server->tcp_port;
    if (!passed_sockets_take(&passed, failure) || !serve_passed(daemon, &passed, failure))
        return false;
    const bool own_path = path[0] != '\0' && passed.unix_socket < 0;
    const bool own_address = address[0] != '\0' && passed.tcp_socket < 0;
    if (own_path && !listen_at_path(daemon, path, failure))
        return false;
    if (own_address && !listen_at_address(daemon, address, port, failure))
        return false;
    return own_path || own_address || passed.unix_socket >= 0 || passed.tcp_socket >= 0 ||
           failure_set(failure, FAILURE_SETTINGS, daemon->loop.bench->path,
                       "server.unix or server.tcp", "there is no socket to serve at");
}
