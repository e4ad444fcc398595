/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * These functions take the place of the C library's for everything in the
 * process, shared libraries included, because the program defines them.
 * Whatever waits does so in slices, to notice when time is moved.
 */
#include "clock.h"

#include <errno.h>
#include <fcntl.h>
#include <pthread.h>
#include <stdlib.h>
#include <sys/epoll.h>
#include <sys/mman.h>
#include <sys/syscall.h>
#include <sys/time.h>
#include <time.h>
#include <unistd.h>

/* How long something waits before it looks whether time was moved. */
enum { LOOP_SLICE_MS = 2, THREAD_SLICE_MS = 20 };

static const int64_t second = INT64_C(1000000000);
static const int64_t millisecond = 1000000;

struct virtual_page *virtual_page(void)
{
    static struct virtual_page still;
    static struct virtual_page *page;
    if (page != NULL)
        return page;
    const char *path = getenv("GRADUS_MONTH_PAGE");
    int file = path != NULL ? openat(AT_FDCWD, path, O_RDWR | O_CLOEXEC) : -1;
    void *map = MAP_FAILED;
    if (file >= 0) {
        map = mmap(NULL, sizeof still, PROT_READ | PROT_WRITE, MAP_SHARED, file, 0);
        close(file);
    }
    page = map != MAP_FAILED ? map : &still;
    return page;
}

static int64_t nanoseconds(const struct timespec *time)
{
    return (int64_t)time->tv_sec * second + time->tv_nsec;
}

static struct timespec timespec_of(int64_t moment)
{
    return (struct timespec) { (time_t)(moment / second), (long)(moment % second) };
}

static int64_t ahead_of(clockid_t id)
{
    const struct virtual_page *page = virtual_page();
    switch (id) {
    case CLOCK_REALTIME:
    case CLOCK_REALTIME_COARSE:
        return page->ahead + page->wall;
    case CLOCK_MONOTONIC:
    case CLOCK_MONOTONIC_COARSE:
    case CLOCK_MONOTONIC_RAW:
    case CLOCK_BOOTTIME:
        return page->ahead - page->since;
    default:
        return 0;
    }
}

int clock_gettime(clockid_t id, struct timespec *time)
{
    int status = (int)syscall(SYS_clock_gettime, id, time);
    if (status == 0)
        *time = timespec_of(nanoseconds(time) + ahead_of(id));
    return status;
}

time_t time(time_t *out)
{
    struct timespec now;
    clock_gettime(CLOCK_REALTIME, &now);
    if (out != NULL)
        *out = now.tv_sec;
    return now.tv_sec;
}

int gettimeofday(struct timeval *restrict out, void *restrict zone)
{
    struct timespec now;
    (void)zone;
    clock_gettime(CLOCK_REALTIME, &now);
    *out = (struct timeval) { now.tv_sec, now.tv_nsec / 1000 };
    return 0;
}

static int64_t monotonic(void)
{
    struct timespec now;
    clock_gettime(CLOCK_MONOTONIC, &now);
    return nanoseconds(&now);
}

int epoll_wait(int epoll, struct epoll_event *events, int most, int timeout)
{
    int64_t until = monotonic() + timeout * millisecond;
    for (;;) {
        int64_t left =
            timeout < 0 ? INT64_MAX : (until - monotonic() + millisecond - 1) / millisecond;
        int slice = left < LOOP_SLICE_MS ? (int)left : LOOP_SLICE_MS;
        int found = (int)syscall(SYS_epoll_pwait, epoll, events, most, slice > 0 ? slice : 0, NULL,
                                 (size_t)8);
        virtual_look();
        if (found != 0 || left <= 0)
            return found;
    }
}

/* The daemon's condition variables count on the monotonic clock, all of them. */
int pthread_cond_timedwait(pthread_cond_t *restrict changed, pthread_mutex_t *restrict mutex,
                           const struct timespec *restrict until)
{
    for (;;) {
        int64_t left = nanoseconds(until) - monotonic();
        if (left <= 0)
            return ETIMEDOUT;
        int64_t slice = left < THREAD_SLICE_MS * millisecond ? left : THREAD_SLICE_MS * millisecond;
        const struct timespec end = timespec_of(monotonic() - ahead_of(CLOCK_MONOTONIC) + slice);
        int status = pthread_cond_clockwait(changed, mutex, CLOCK_MONOTONIC, &end);
        if (status != ETIMEDOUT)
            return status;
    }
}
