/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "worker.h"

#include "tools/standin/basics/alloc.h"

#include <errno.h>
#include <pthread.h>
#include <signal.h>
#include <stdatomic.h>
#include <stdlib.h>
#include <time.h>
#include <unistd.h>

/* A signal that comes just before a blocking call is lost, so it is sent again. */
#define NUDGE_NS 2000000L

enum order { ORDER_PARK, ORDER_RUN, ORDER_QUIT };

struct worker {
    worker_pass *pass;
    void *argument;
    pthread_t thread;
    pthread_mutex_t lock;
    pthread_cond_t changed;
    atomic_int order; /* an enum order; changed under the lock */
    bool parked;
};

static void nothing(int number)
{
    (void)number;
}

/* What interrupts a blocking call must have a handler, and must not restart the call. */
static void prepare_signal(void)
{
    struct sigaction action = { .sa_handler = nothing };

    sigemptyset(&action.sa_mask);
    sigaction(SIGUSR1, &action, NULL);
}

/* Waits for something to do; false when it is to end. */
static bool await_order(struct worker *worker)
{
    int order;

    pthread_mutex_lock(&worker->lock);
    while ((order = atomic_load(&worker->order)) == ORDER_PARK) {
        worker->parked = true;
        pthread_cond_broadcast(&worker->changed);
        pthread_cond_wait(&worker->changed, &worker->lock);
    }
    worker->parked = order == ORDER_QUIT;
    pthread_cond_broadcast(&worker->changed);
    pthread_mutex_unlock(&worker->lock);
    return order == ORDER_RUN;
}

static void *run_worker(void *argument)
{
    struct worker *worker = argument;

    while (await_order(worker))
        worker->pass(worker->argument);
    return NULL;
}

struct worker *worker_new(worker_pass *pass, void *argument)
{
    struct worker *worker = alloc_new(1, sizeof *worker);
    pthread_condattr_t monotonic;

    prepare_signal();
    worker->pass = pass;
    worker->argument = argument;
    pthread_condattr_init(&monotonic);
    pthread_condattr_setclock(&monotonic, CLOCK_MONOTONIC);
    pthread_cond_init(&worker->changed, &monotonic);
    pthread_condattr_destroy(&monotonic);
    pthread_mutex_init(&worker->lock, NULL);
    if (pthread_create(&worker->thread, NULL, run_worker, worker) != 0)
        abort();
    return worker;
}

static void give_order(struct worker *worker, enum order order)
{
    pthread_mutex_lock(&worker->lock);
    atomic_store(&worker->order, order);
    pthread_cond_broadcast(&worker->changed);
    pthread_mutex_unlock(&worker->lock);
}

void worker_run(struct worker *worker)
{
    give_order(worker, ORDER_RUN);
}

static void await_parked(struct worker *worker)
{
    pthread_mutex_lock(&worker->lock);
    while (!worker->parked) {
        struct timespec until;

        pthread_kill(worker->thread, SIGUSR1);
        clock_gettime(CLOCK_MONOTONIC, &until);
        until.tv_nsec += NUDGE_NS;
        if (until.tv_nsec >= 1000000000L) {
            until.tv_nsec -= 1000000000L;
            until.tv_sec++;
        }
        pthread_cond_timedwait(&worker->changed, &worker->lock, &until);
    }
    pthread_mutex_unlock(&worker->lock);
}

void worker_park(struct worker *worker)
{
    give_order(worker, ORDER_PARK);
    await_parked(worker);
}

void worker_free(struct worker *worker)
{
    if (worker == NULL)
        return;
    worker_park(worker);
    give_order(worker, ORDER_QUIT);
    pthread_join(worker->thread, NULL);
    pthread_cond_destroy(&worker->changed);
    pthread_mutex_destroy(&worker->lock);
    free(worker);
}

bool worker_called_off(const struct worker *worker)
{
    return atomic_load(&worker->order) != ORDER_RUN;
}

void worker_rest(struct worker *worker)
{
    pthread_mutex_lock(&worker->lock);
    while (!worker_called_off(worker))
        pthread_cond_wait(&worker->changed, &worker->lock);
    pthread_mutex_unlock(&worker->lock);
}

ssize_t worker_read(const struct worker *worker, int fd, void *bytes, size_t count)
{
    ssize_t got;

    do {
        got = read(fd, bytes, count);
    } while (got < 0 && errno == EINTR && !worker_called_off(worker));
    return got;
}

ssize_t worker_write(const struct worker *worker, int fd, const void *bytes, size_t count)
{
    ssize_t sent;

    do {
        sent = write(fd, bytes, count);
    } while (sent < 0 && errno == EINTR && !worker_called_off(worker));
    return sent;
}

bool worker_read_all(const struct worker *worker, int fd, void *bytes, size_t count)
{
    size_t done = 0;

    while (done < count) {
        ssize_t got = worker_read(worker, fd, (char *)bytes + done, count - done);

        if (got <= 0)
            return false;
        done += (size_t)got;
    }
    return true;
}

bool worker_write_all(const struct worker *worker, int fd, const void *bytes, size_t count)
{
    size_t done = 0;

    while (done < count) {
        ssize_t sent = worker_write(worker, fd, (const char *)bytes + done, count - done);

        if (sent <= 0)
            return false;
        done += (size_t)sent;
    }
    return true;
}
