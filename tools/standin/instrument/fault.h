/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * What can go wrong with an instrument, on command. A fault is armed for the
 * next so many replies
 * (a knob: commands), or for each reply with a probability, or both.
 */
#ifndef STANDIN_FAULT_H
#define STANDIN_FAULT_H

#include <gsl/gsl_rng.h>
#include <stdbool.h>

/*
 * Kind, its name on the control socket, and what it does to a reply. The ones
 * after FAULT_ARMED_KINDS happen at once and are not armed.
 */
#define FAULT_TABLE(X)                                                                             \
    X(LATE, "late")                     /* the reply comes delay_ms later, all after it too */     \
    X(SILENT, "silent")                 /* no reply */                                             \
    X(HALF, "half")                     /* half the reply, then silence */                         \
    X(SPLIT, "split")                   /* byte by byte, delay_ms apart (1 when not told) */       \
    X(GLUED, "glued")                   /* the whole reply twice in one piece */                   \
    X(JOINED, "joined")                 /* twice, with no terminator in between */                 \
    X(GARBAGE, "garbage")               /* random bytes before the reply */                        \
    X(BABBLE, "babble")                 /* replies without end, until cleared or reconnected */    \
    X(WRONG_IDENTITY, "wrong_identity") /* another instrument answers to the identity query */     \
    X(DISCONNECT_MID, "disconnect_mid") /* half the reply, then the connection closes */           \
    X(OVERLOAD, "overload")             /* the reading or record is overloaded */                  \
    X(WRONG_TAG, "wrong_tag")           /* USB: the answer has another request's tag */            \
    X(WRONG_MESSAGE, "wrong_message")   /* USB: a message kind that is no answer */                \
    X(SIZE_LARGER, "size_larger")       /* USB: more bytes announced than are sent */              \
    X(SIZE_SMALLER, "size_smaller")     /* USB: fewer */                                           \
    X(HALTED, "halted")                 /* USB: bulk-in is halted, the reply is lost */            \
    X(SHORT_HEADER, "short_header")     /* USB: the transfer ends within the header */             \
    X(NO_END, "no_end")                 /* USB: the reply never ends (no EOM) */                   \
    X(FRAMING, "framing")               /* serial: a byte is wrong, with a framing error */        \
    X(PARITY, "parity")                 /* serial: a bit is wrong, with a parity error */          \
    X(OVERRUN, "overrun")               /* serial: a byte is lost, with an overrun */              \
    X(BREAK, "break")                   /* serial: a break amid the reply */                       \
    X(KNOB, "knob")                     /* a scope: somebody turns one before a command */         \
    X(ONE_LESS, "one_less")             /* a scope: the record lacks its last sample */            \
    X(TWICE, "twice")                   /* a scope: each sample comes twice */                     \
    X(PAIRS, "pairs")                   /* a scope: half the samples, each behind its number */    \
    X(KEY, "key") /* a meter: a key is pressed before a message, before or after a reading */      \
    X(STEPS_DOWN, "steps_down") /* a meter: goes to a lower range on its own */                    \
    X(THERE_AND_BACK,                                                                              \
      "there_and_back") /* a setting is another one just for a reading or record */                \
    X(ARMED_KINDS, "")                                                                             \
    X(DISCONNECT, "disconnect")           /* the connection closes now */                          \
    X(RESTART, "restart")                 /* power fails: settings lost, the connection closes */  \
    X(KNOB_OFF, "knob_off")               /* a scope's variable control is off its stop */         \
    X(DEAD_GROUND, "dead_ground")         /* a scope's ground coupling does nothing */             \
    X(ERROR_QUEUE, "error_queue")         /* an entry appears in the error queue */                \
    X(STUCK, "stuck")                     /* nothing is taken from the link until cleared */       \
    X(SERVICE_REQUEST, "service_request") /* USB: asks for service on its own */

enum fault_kind {
#define X(name, text) FAULT_##name,
    FAULT_TABLE(X)
#undef X
        FAULT_KINDS
};

struct fault {
    bool armed;
    long left;          /* replies still to be hit; -1: no end */
    double probability; /* for each reply, 0 to 1 */
    double delay_ms;
};

struct faults {
    struct fault armed[FAULT_ARMED_KINDS];
};

/* The kind of a name; false when there is none. */
bool fault_named(const char *name, enum fault_kind *kind);

/* Whether any fault is armed. */
bool faults_any(const struct faults *faults);

/* Whether an armed fault hits this reply; counts it when it does. */
bool faults_take(struct faults *faults, enum fault_kind kind, gsl_rng *rng);

#endif
