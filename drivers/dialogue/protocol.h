/* SPDX-License-Identifier: GPL-3.0-or-later */
/* How an instrument wants to be talked to, and what comes back: what every part of a dialogue knows. */
#ifndef GRADUS_DRIVERS_PROTOCOL_H
#define GRADUS_DRIVERS_PROTOCOL_H

#include <regex.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

enum { PROTOCOL_TEXT = 64 };

/* Stands for the number of a message in its closing query and reply. */
#define PROTOCOL_NUMBER "{number}"

/* Room for either with the number filled in. */
enum { PROTOCOL_CLOSING = PROTOCOL_TEXT };

/* Bytes of an identity, terminator included; an instrument with a longer one is not recognised. */
enum { DIALOGUE_IDENTITY = 256 };

/* How replies are framed. */
enum framing {
    FRAMING_488, /* IEEE 488.2: newline outside strings and blocks */
    FRAMING_LINE /* plain text up to the reply terminator, whatever is in it */
};

/* How an instrument wants to be talked to; part of its profile, which owns it. */
struct protocol {
    char command_terminator[PROTOCOL_TEXT];
    char reply_terminator[PROTOCOL_TEXT]; /* FRAMING_LINE; its last byte ends a reply */
    enum framing framing;
    bool echo; /* every message comes back, terminator included, before its reply */
    char prompt[PROTOCOL_TEXT]; /* ends every exchange, also one without reply; empty: none */
    bool acknowledges;          /* commands that are no queries are answered too ... */
    regex_t acknowledge;        /*   ... with this, when `acknowledges` */
    bool has_refusal;
    regex_t refusal;           /* a reply that says "I do not understand" */
    double reply_ms;           /* longest wait for any reply, conversion time excluded */
    double quiet_ms;           /* silence after which nothing more will come */
    size_t reply_limit;        /* longest reply in bytes, blocks included */
    char clear[PROTOCOL_TEXT]; /* characters that clear the instrument; empty: none */
    char identity_query[PROTOCOL_TEXT];
    regex_t identity;                /* what the instrument answers to it */
    char error_query[PROTOCOL_TEXT]; /* empty: it has no error queue */
    regex_t error_none;              /* the answer that says the queue is empty */
    /*
     * Asked behind a reading in the same message; may be empty. With PROTOCOL_NUMBER in it, behind
     * each of our questions, and the number is another one each time.
     */
    char closing_query[PROTOCOL_TEXT];
    char closing_reply[PROTOCOL_TEXT]; /* what its answer adds to the reading's reply */
};

/* Bytes of one reply, without terminator; valid until the next call on the dialogue. */
struct reply {
    const char *bytes; /* always followed by a NUL that is not counted */
    size_t count;
};

/* What an instrument has been through; read by health. */
struct dialogue_counters {
    uint64_t queries;
    uint64_t timeouts;
    uint64_t unexpected; /* replies that were not what was asked for */
    uint64_t resynchronised;
    uint64_t opened;
};

#endif
