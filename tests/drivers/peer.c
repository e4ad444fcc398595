/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "peer.h"

#include "drivers/basics/printable.h"

#include <poll.h>
#include <pthread.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <sys/un.h>
#include <unistd.h>

/* Nothing takes that long; it only keeps a broken test from hanging. */
enum { PATIENCE_MS = 30000, LATER_MS = 60 };

struct peer {
    const struct step *steps;
    int listener;
    int fd;
    pthread_t thread;
    pthread_mutex_t mutex;
    pthread_cond_t changed;
    size_t played;
    size_t holds; /* to be passed without waiting */
    bool over;
    char folder[32];
    char link[64];
    char error[256];
};

static bool readable(int fd)
{
    struct pollfd poller = { .fd = fd, .events = POLLIN };

    return poll(&poller, 1, PATIENCE_MS) == 1;
}

static bool wrong(struct peer *peer, size_t at, const char *what, const char *bytes, size_t count)
{
    char shown[100];

    snprintf(peer->error, sizeof peer->error, "step %zu: %s '%s'", at, what,
             printable(bytes, count, shown, sizeof shown));
    return false;
}

static bool play_accept(struct peer *peer, size_t at)
{
    if (peer->fd >= 0)
        close(peer->fd);
    peer->fd = readable(peer->listener) ? accept(peer->listener, NULL, NULL) : -1;
    return peer->fd >= 0 || wrong(peer, at, "no connection", "", 0);
}

static bool play_expect(struct peer *peer, size_t at)
{
    const struct step *step = &peer->steps[at];
    char came[256];
    size_t count = 0;

    while (count < step->count) {
        ssize_t n = readable(peer->fd) ? read(peer->fd, came + count, step->count - count) : 0;

        if (n <= 0)
            return wrong(peer, at, "closed or silent after", came, count);
        count += (size_t)n;
        if (memcmp(came, step->bytes, count) != 0)
            return wrong(peer, at, "came", came, count);
    }
    return true;
}

static bool play_send(struct peer *peer, size_t at, size_t chunk)
{
    const struct step *step = &peer->steps[at];

    for (size_t done = 0; done < step->count; done += chunk)
        if (send(peer->fd, step->bytes + done, chunk, MSG_NOSIGNAL) != (ssize_t)chunk)
            return wrong(peer, at, "not sent", step->bytes, step->count);
    return true;
}

static bool play_babble(struct peer *peer, size_t at)
{
    const struct step *step = &peer->steps[at];

    while (send(peer->fd, step->bytes, step->count, MSG_NOSIGNAL) >= 0)
        continue;
    return true;
}

static bool play_hold(struct peer *peer)
{
    pthread_mutex_lock(&peer->mutex);
    while (peer->holds == 0)
        pthread_cond_wait(&peer->changed, &peer->mutex);
    peer->holds--;
    pthread_mutex_unlock(&peer->mutex);
    return true;
}

static bool play_end(struct peer *peer, size_t at)
{
    char byte;

    if (peer->fd < 0)
        return true;
    if (!readable(peer->fd))
        return wrong(peer, at, "not closed", "", 0);
    return read(peer->fd, &byte, 1) <= 0 || wrong(peer, at, "one message too many", &byte, 1);
}

static bool play(struct peer *peer, size_t at)
{
    switch (peer->steps[at].kind) {
    case STEP_ACCEPT:
        return play_accept(peer, at);
    case STEP_EXPECT:
        return play_expect(peer, at);
    case STEP_SEND:
        return play_send(peer, at, peer->steps[at].count);
    case STEP_DRIP:
        return play_send(peer, at, 1);
    case STEP_BABBLE:
        return play_babble(peer, at);
    case STEP_LATER:
        poll(NULL, 0, LATER_MS);
        return true;
    case STEP_HOLD:
        return play_hold(peer);
    case STEP_CLOSE:
        close(peer->fd);
        peer->fd = -1;
        return true;
    default:
        return play_end(peer, at);
    }
}

static void *run(void *context)
{
    struct peer *peer = context;
    bool going = true;

    for (size_t at = 0; going; at++) {
        going = play(peer, at) && peer->steps[at].kind != STEP_END;
        pthread_mutex_lock(&peer->mutex);
        peer->played++;
        peer->over = !going;
        pthread_cond_broadcast(&peer->changed);
        pthread_mutex_unlock(&peer->mutex);
    }
    if (peer->fd >= 0)
        close(peer->fd);
    return NULL;
}

static bool peer_listen(struct peer *peer)
{
    struct sockaddr_un address = { .sun_family = AF_UNIX };

    snprintf(peer->folder, sizeof peer->folder, "/tmp/gradus-peer-XXXXXX");
    if (!mkdtemp(peer->folder))
        return false;
    snprintf(address.sun_path, sizeof address.sun_path, "%s/s", peer->folder);
    snprintf(peer->link, sizeof peer->link, "unix:%s/s", peer->folder);
    peer->listener = socket(AF_UNIX, SOCK_STREAM | SOCK_CLOEXEC, 0);
    return bind(peer->listener, (struct sockaddr *)&address, sizeof address) == 0 &&
           listen(peer->listener, 4) == 0;
}

struct peer *peer_start(const struct step *steps)
{
    struct peer *peer = calloc(1, sizeof *peer);

    if (!peer)
        return NULL;
    peer->steps = steps;
    peer->fd = -1;
    pthread_mutex_init(&peer->mutex, NULL);
    pthread_cond_init(&peer->changed, NULL);
    if (peer_listen(peer) && pthread_create(&peer->thread, NULL, run, peer) == 0)
        return peer;
    free(peer);
    return NULL;
}

const char *peer_link(const struct peer *peer)
{
    return peer->link;
}

void peer_wait(struct peer *peer, size_t steps)
{
    pthread_mutex_lock(&peer->mutex);
    while (peer->played < steps && !peer->over)
        pthread_cond_wait(&peer->changed, &peer->mutex);
    pthread_mutex_unlock(&peer->mutex);
}

void peer_resume(struct peer *peer)
{
    pthread_mutex_lock(&peer->mutex);
    peer->holds++;
    pthread_cond_broadcast(&peer->changed);
    pthread_mutex_unlock(&peer->mutex);
}

const char *peer_finish(struct peer *peer)
{
    static char error[sizeof peer->error];

    pthread_join(peer->thread, NULL);
    memcpy(error, peer->error, sizeof error);
    close(peer->listener);
    unlink(peer->link + strlen("unix:"));
    rmdir(peer->folder);
    pthread_cond_destroy(&peer->changed);
    pthread_mutex_destroy(&peer->mutex);
    free(peer);
    return error;
}
