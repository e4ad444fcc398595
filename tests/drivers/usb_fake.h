/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * A USBTMC device behind a pipe, without a kernel: it answers "name?" with
 * "answer to name" or as it is told, "block N?" with a block of N bytes, and misbehaves once in the way it is told. It never
 * waits: what would come too late is a timeout at once.
 */
#ifndef GRADUS_TESTS_USB_FAKE_H
#define GRADUS_TESTS_USB_FAKE_H

#include "drivers/usb/usb_pipe.h"
#include "drivers/usb/usbtmc_message.h"

enum {
    FAKE_PACKET = 64,
    FAKE_ROOM = 1 << 21,
    FAKE_MESSAGE = 1 << 18,
    FAKE_IN = 0x81,
    FAKE_OUT = 0x02
};

/* What is wrong with the next answer. */
enum fake_fault {
    FAULT_NONE,
    FAULT_SILENT,      /* no answer, ever */
    FAULT_LATE,        /* comes after the read has given up, under the old tag */
    FAULT_TAG,         /* another tag */
    FAULT_INVERSE,     /* complement damaged */
    FAULT_MESSAGE,     /* another MsgID */
    FAULT_OVERSIZE,    /* announces more than was asked for */
    FAULT_EMPTY,       /* announces nothing */
    FAULT_UNDERSIZE,   /* announces eight bytes less than it sends */
    FAULT_SHORT,       /* stops before what it announced */
    FAULT_HEADER,      /* stops inside the header */
    FAULT_ATTRIBUTE,   /* a reserved bit */
    FAULT_TRAILING,    /* sends on behind what it announced */
    FAULT_STUCK,       /* stops in the middle without ending the transfer */
    FAULT_HALT_IN,     /* halts bulk-in instead */
    FAULT_HALT_OUT,    /* halts bulk-out at the next message */
    FAULT_HALF_OUT,    /* takes only a part of the next message */
    FAULT_OVERFLOW,    /* more than a packet holds */
    FAULT_NO_END,      /* forgets the empty packet behind full ones: harmless */
    FAULT_EMPTY_FIRST, /* an empty packet before the answer: harmless */
    FAULT_ALIGN,       /* three bytes of alignment: harmless */
    FAULT_COUNT
};

/* Whether an answer with this fault is good all the same. */
bool fault_is_harmless(enum fake_fault fault);

/* How it takes an abort or a clear. */
enum fake_manner {
    MANNER_GOOD,
    MANNER_PENDING, /* done only after it was asked a few times */
    MANNER_DRAIN,   /* wants bulk-in read first */
    MANNER_NOT_IN_PROGRESS,
    MANNER_FAILED,
    MANNER_STALL, /* does not know the request */
    MANNER_COUNT
};

struct fake {
    enum fake_fault fault;
    enum fake_manner abort;
    enum fake_manner clear;
    size_t split;       /* most bytes of data in one transfer; 0: all */
    bool never_ends;    /* marks no end of message; ends a transfer at the term char it was told */
    int term_char;      /* of the last request; USBTMC_NO_TERM_CHAR: none */
    bool keeps_answers; /* queues answers instead of throwing old ones away */
    int gone_at;        /* the call at which it is unplugged; -1: never */
    int calls;
    int clears; /* device clears that were begun */
    int aborts;
    int requests; /* for an answer */
    bool remote;
    const char *said[4][2]; /* what it answers to other names */
    unsigned char capabilities[24];
    /* insides */
    bool halted_in;
    bool halted_out;
    int pending;                         /* times a check still says so */
    unsigned char message[FAKE_MESSAGE]; /* the last one, or its beginning */
    int messages;                        /* whole ones that came */
    size_t message_count;
    unsigned char *answer; /* FAKE_ROOM bytes: what is still to be asked for */
    size_t answer_count;
    unsigned char *wire; /* FAKE_ROOM bytes: transfer on bulk-in */
    size_t wire_count;
    size_t wire_taken;
    bool wire_open; /* a transfer is there, be it an empty one */
    bool wire_ends; /* a short packet ends it */
    bool late;      /* the transfer comes only after one timeout */
    bool stuck;
    bool overflows;
    bool empty_first;
};

/* A well-behaved device that has the answers to nothing yet. */
void fake_begin(struct fake *fake);

/* Frees its buffers. */
void fake_end(struct fake *fake);

/* Answers "name?" with `text` as it is. Both are borrowed. */
void fake_say(struct fake *fake, const char *name, const char *text);

/* How to reach it. */
struct usb_pipe fake_pipe(struct fake *fake);

/* Leaves a transfer on bulk-in as a former user would have. */
void fake_leave(struct fake *fake, const char *text, uint8_t tag);

#endif
