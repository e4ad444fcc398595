/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * A scripted instrument behind a Unix socket, on a thread of its own. It is
 * strict: a message other than the one its script expects, a message too many
 * or a script that is not played to its end is an error.
 */
#ifndef GRADUS_TESTS_DRIVERS_PEER_H
#define GRADUS_TESTS_DRIVERS_PEER_H

#include <stddef.h>

enum step_kind {
    STEP_END,    /* the other side must close now, without another byte */
    STEP_ACCEPT, /* takes the next connection */
    STEP_EXPECT, /* exactly these bytes must come */
    STEP_SEND,   /* these bytes in one write */
    STEP_DRIP,   /* these bytes, each in a write of its own */
    STEP_BABBLE, /* these bytes over and over until the other side closes */
    STEP_LATER,  /* lets 60 ms pass, as a slow instrument does */
    STEP_HOLD,   /* waits for peer_resume() */
    STEP_CLOSE   /* closes the connection */
};

struct step {
    enum step_kind kind;
    const char *bytes;
    size_t count;
};

#define ACCEPT                                                                                     \
    {                                                                                              \
        STEP_ACCEPT, NULL, 0                                                                       \
    }
#define CLOSE                                                                                      \
    {                                                                                              \
        STEP_CLOSE, NULL, 0                                                                        \
    }
#define HOLD                                                                                       \
    {                                                                                              \
        STEP_HOLD, NULL, 0                                                                         \
    }
#define LATER                                                                                      \
    {                                                                                              \
        STEP_LATER, NULL, 0                                                                        \
    }
#define EXPECT(text)                                                                               \
    {                                                                                              \
        STEP_EXPECT, text, sizeof(text) - 1                                                        \
    }
#define SEND(text)                                                                                 \
    {                                                                                              \
        STEP_SEND, text, sizeof(text) - 1                                                          \
    }
#define DRIP(text)                                                                                 \
    {                                                                                              \
        STEP_DRIP, text, sizeof(text) - 1                                                          \
    }
#define BABBLE(text)                                                                               \
    {                                                                                              \
        STEP_BABBLE, text, sizeof(text) - 1                                                        \
    }

struct peer;

/* Listens and starts to play `steps` (borrowed) up to STEP_END. NULL on failure. */
struct peer *peer_start(const struct step *steps);

/* The link to it. */
const char *peer_link(const struct peer *peer);

/* Waits until that many steps have been played. */
void peer_wait(struct peer *peer, size_t steps);

/* Lets it go on at STEP_HOLD, now or when it comes there. */
void peer_resume(struct peer *peer);

/*
 * Waits for the end of the script, frees, and returns "" or what went wrong,
 * which is valid until the next call. Close the link first.
 */
const char *peer_finish(struct peer *peer);

#endif
