/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "resolve.h"

#include <errno.h>
#include <pthread.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

/* A look-up under way, shared by the one who waits and the thread that does it. */
struct lookup {
    pthread_mutex_t mutex;
    pthread_cond_t done_or_left;
    bool done;
    bool left; /* nobody waits any more: the thread frees it */
    int error;
    struct addrinfo *addresses;
    char host[256];
    char port[16];
};

static int look_up(const char *host, const char *port, int flags, struct addrinfo **addresses)
{
    const struct addrinfo hints = { .ai_family = AF_UNSPEC,
                                    .ai_socktype = SOCK_STREAM,
                                    .ai_protocol = IPPROTO_TCP,
                                    .ai_flags = flags | AI_NUMERICSERV };

    return getaddrinfo(host, port, &hints, addresses);
}

static void lookup_free(struct lookup *lookup)
{
    if (lookup->addresses)
        freeaddrinfo(lookup->addresses);
    pthread_cond_destroy(&lookup->done_or_left);
    pthread_mutex_destroy(&lookup->mutex);
    free(lookup);
}

static struct lookup *lookup_new(const char *host, const char *port)
{
    struct lookup *lookup = calloc(1, sizeof *lookup);
    pthread_condattr_t monotonic;

    if (!lookup)
        return NULL;
    snprintf(lookup->host, sizeof lookup->host, "%s", host);
    snprintf(lookup->port, sizeof lookup->port, "%s", port);
    pthread_mutex_init(&lookup->mutex, NULL);
    pthread_condattr_init(&monotonic);
    pthread_condattr_setclock(&monotonic, CLOCK_MONOTONIC);
    pthread_cond_init(&lookup->done_or_left, &monotonic);
    pthread_condattr_destroy(&monotonic);
    return lookup;
}

static void *lookup_run(void *context)
{
    struct lookup *lookup = context;
    struct addrinfo *addresses = NULL;
    int error = look_up(lookup->host, lookup->port, 0, &addresses);
    bool left;

    pthread_mutex_lock(&lookup->mutex);
    lookup->error = error;
    lookup->addresses = error ? NULL : addresses;
    lookup->done = true;
    left = lookup->left;
    pthread_cond_signal(&lookup->done_or_left);
    pthread_mutex_unlock(&lookup->mutex);
    if (left)
        lookup_free(lookup);
    return NULL;
}

static bool lookup_start(struct lookup *lookup)
{
    pthread_attr_t detached;
    pthread_t thread;
    int error;

    pthread_attr_init(&detached);
    pthread_attr_setdetachstate(&detached, PTHREAD_CREATE_DETACHED);
    error = pthread_create(&thread, &detached, lookup_run, lookup);
    pthread_attr_destroy(&detached);
    return error == 0;
}

/* Waits for the thread; false when the deadline came first, and the look-up is the thread's. */
static bool lookup_wait(struct lookup *lookup, struct deadline deadline)
{
    const struct timespec until = moment_timespec(deadline.at);
    bool done;

    pthread_mutex_lock(&lookup->mutex);
    while (!lookup->done)
        if (pthread_cond_timedwait(&lookup->done_or_left, &lookup->mutex, &until) == ETIMEDOUT)
            break;
    done = lookup->done;
    lookup->left = !done;
    pthread_mutex_unlock(&lookup->mutex);
    return done;
}

static struct addrinfo *resolve_name(const char *host, const char *port, struct deadline deadline,
                                     struct failure *failure)
{
    struct lookup *lookup = lookup_new(host, port);
    struct addrinfo *addresses;

    if (!lookup || !lookup_start(lookup)) {
        if (lookup)
            lookup_free(lookup);
        failure_set(failure, FAILURE_NO_MEMORY, NULL, NULL, "cannot look up host '%s'", host);
        return NULL;
    }
    if (!lookup_wait(lookup, deadline)) {
        failure_set(failure, FAILURE_TIMEOUT, NULL, NULL, "looking up host '%s' takes too long",
                    host);
        return NULL;
    }
    if (lookup->error)
        failure_set(failure, FAILURE_DISCONNECTED, NULL, NULL, "host '%s': %s", host,
                    gai_strerror(lookup->error));
    addresses = lookup->addresses;
    lookup->addresses = NULL;
    lookup_free(lookup);
    return addresses;
}

struct addrinfo *resolve(const char *host, int port, struct deadline deadline,
                         struct failure *failure)
{
    struct addrinfo *addresses = NULL;
    char service[16];

    snprintf(service, sizeof service, "%d", port);
    if (look_up(host, service, AI_NUMERICHOST, &addresses) == 0)
        return addresses;
    return resolve_name(host, service, deadline, failure);
}
