/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "thread.h"

#include <signal.h>

bool thread_start(pthread_t *thread, void *(*run)(void *argument), void *argument)
{
    sigset_t all, before;
    sigfillset(&all);
    pthread_sigmask(SIG_SETMASK, &all, &before); /* the new thread inherits the mask */
    int error = pthread_create(thread, NULL, run, argument);
    pthread_sigmask(SIG_SETMASK, &before, NULL);
    return error == 0;
}
