/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "thread.h"

#include <signal.h>
#include <time.h>

bool thread_start(pthread_t *thread, void *(*run)(void *argument), void *argument)
{
    sigset_t all, before;
    sigfillset(&all);
    pthread_sigmask(SIG_SETMASK, &all, &before); /* the new thread inherits the mask */
    int error = pthread_create(thread, NULL, run, argument);
    pthread_sigmask(SIG_SETMASK, &before, NULL);
    return error == 0;
}

struct duration thread_worked(void)
{
    struct timespec worked;
    clock_gettime(CLOCK_THREAD_CPUTIME_ID, &worked);
    return (struct duration) { (int64_t)worked.tv_sec * SECOND_NS + worked.tv_nsec };
}
