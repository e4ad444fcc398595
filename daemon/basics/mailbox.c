/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "mailbox.h"

#include <event2/event.h>
#include <pthread.h>
#include <stdbool.h>
#include <stdint.h>
#include <stdlib.h>
#include <sys/eventfd.h>
#include <unistd.h>

struct mailbox {
    pthread_mutex_t lock;
    struct letter *first; /* under the lock, as is last */
    struct letter *last;
    int bell; /* an eventfd: counts up when the box was empty */
    struct event *event;
};

/* Takes all letters at once, so that the lock is not held while they are opened. */
static struct letter *mailbox_take(struct mailbox *mailbox)
{
    pthread_mutex_lock(&mailbox->lock);
    struct letter *first = mailbox->first;
    mailbox->first = NULL;
    mailbox->last = NULL;
    pthread_mutex_unlock(&mailbox->lock);
    return first;
}

void mailbox_open(struct mailbox *mailbox)
{
    struct letter *letter = mailbox_take(mailbox);
    while (letter != NULL) {
        struct letter *next = letter->next;
        letter->open(letter);
        letter = next;
    }
}

static void on_bell(evutil_socket_t bell, short what, void *argument)
{
    uint64_t rung;
    (void)what;
    if (read(bell, &rung, sizeof rung) >= 0)
        mailbox_open(argument);
}

struct mailbox *mailbox_new(struct event_base *base)
{
    struct mailbox *mailbox = calloc(1, sizeof *mailbox);
    if (mailbox == NULL)
        return NULL;
    pthread_mutex_init(&mailbox->lock, NULL);
    mailbox->bell = eventfd(0, EFD_CLOEXEC | EFD_NONBLOCK);
    if (mailbox->bell >= 0)
        mailbox->event = event_new(base, mailbox->bell, EV_READ | EV_PERSIST, on_bell, mailbox);
    if (mailbox->event == NULL || event_add(mailbox->event, NULL) != 0) {
        mailbox_free(mailbox);
        return NULL;
    }
    return mailbox;
}

void mailbox_free(struct mailbox *mailbox)
{
    if (mailbox == NULL)
        return;
    if (mailbox->event != NULL)
        event_free(mailbox->event);
    if (mailbox->bell >= 0)
        close(mailbox->bell);
    pthread_mutex_destroy(&mailbox->lock);
    free(mailbox);
}

void mailbox_post(struct mailbox *mailbox, struct letter *letter)
{
    const uint64_t ring = 1;
    letter->next = NULL;
    pthread_mutex_lock(&mailbox->lock);
    bool was_empty = mailbox->first == NULL;
    if (was_empty)
        mailbox->first = letter;
    else
        mailbox->last->next = letter;
    mailbox->last = letter;
    pthread_mutex_unlock(&mailbox->lock);
    /*
     * Outside the lock, or the loop would wake to find it held; a box that is
     * found empty does no harm. Cannot fail: the counter never comes near its
     * end, and nothing else can go wrong.
     */
    ssize_t rung = was_empty ? write(mailbox->bell, &ring, sizeof ring) : 0;
    (void)rung;
}
