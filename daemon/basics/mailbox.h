/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The way back from the workers to the loop thread: letters are posted from
 * any thread and opened on the loop thread, in the order they were posted.
 * Letters carry their own link, so that posting never needs memory.
 */
#ifndef GRADUS_DAEMON_MAILBOX_H
#define GRADUS_DAEMON_MAILBOX_H

struct mailbox;
struct event_base;

/* The part of a message the mailbox needs; embed it. */
struct letter {
    struct letter *next;
    /* Called on the loop thread; the letter is out of the mailbox by then. */
    void (*open)(struct letter *letter);
};

/* A mailbox whose letters are opened by the loop of `base`. NULL when there is none to be had. */
struct mailbox *mailbox_new(struct event_base *base);

/* Letters still inside are not opened. Accepts NULL. */
void mailbox_free(struct mailbox *mailbox);

/* Opens the letters that are inside, without the loop; on the loop thread. */
void mailbox_open(struct mailbox *mailbox);

/* Posts a letter; from any thread. */
void mailbox_post(struct mailbox *mailbox, struct letter *letter);

#endif
