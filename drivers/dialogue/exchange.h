/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * One message out and exactly what belongs to it back, and what it works on:
 * the insides of a dialogue, shared with dialogue.c and dialogue_sync.c only.
 */
#ifndef GRADUS_DRIVERS_EXCHANGE_H
#define GRADUS_DRIVERS_EXCHANGE_H

#include "core/basics/failure.h"
#include "drivers/basics/buffer.h"
#include "drivers/basics/deadline.h"
#include "drivers/link/link.h"
#include "protocol.h"

typedef void dialogue_tracer(void *context, const char *command, const struct reply *reply,
                             double ms, const struct failure *failure);

struct dialogue {
    const struct protocol *protocol;
    struct link_spec spec;
    char name[64];
    struct link *link; /* NULL: closed */
    bool in_step;
    bool fresh;        /* the link has not been tried to bring in step since it was opened */
    unsigned number;   /* of the last message that was closed; see dialogue_read() */
    bool half_sent;    /* the last message may have gone out in part */
    size_t unanswered; /* identity queries whose answer may still come over this link */
    unsigned epoch;
    char identity[DIALOGUE_IDENTITY];
    struct dialogue_counters counters;
    struct buffer input;  /* what has come in since the last message went out */
    struct buffer output; /* the last message, terminator included */
    dialogue_tracer *trace;
    void *trace_context;
};

/* One message out and what comes back. */
struct exchange {
    const char *text;
    bool wants_reply;
    struct deadline limit; /* when the instrument should have answered */
    bool sent;             /* at least a part of it */
    struct moment sent_at;
    struct moment done_at; /* {0}: it is not, or did not end well */
    bool has_reply;
    struct reply reply;
    struct failure failure;
};

/* Starts an exchange that ends within `wait_ms` and before the deadline. */
struct exchange exchange_begin(const char *text, bool wants_reply, double wait_ms,
                               struct deadline deadline);

/*
 * Makes sure that nothing is waiting to be read, sends the message, and takes
 * in echo, reply and prompt as the protocol has them, and not a byte more.
 * False with exchange->failure set.
 */
bool exchange_run(struct dialogue *dialogue, struct exchange *exchange);

/* What ends a reply: NL unless the protocol has plain text with something else. */
const char *exchange_terminator(const struct dialogue *dialogue);

/* Whether a message is the identity query, whose answer could be taken for a later one's. */
bool exchange_asks_identity(const struct dialogue *dialogue, const char *text);

/* Shows an exchange to the trace, if there is one. */
void exchange_trace(const struct dialogue *dialogue, const struct exchange *exchange);

/* Sends `text` and `terminator` with one write. The link is closed when that fails. */
bool exchange_send(struct dialogue *dialogue, const char *text, const char *terminator,
                   struct deadline deadline, struct failure *failure);

/*
 * Appends what comes to the input. LINK_BROKEN with the failure set when the
 * link is gone, and closed, or memory is short.
 */
enum link_result exchange_receive(struct dialogue *dialogue, bool *end, struct deadline deadline,
                                  struct failure *failure);

/* Closes the link; the dialogue is then suspect. */
void exchange_close(struct dialogue *dialogue);

#endif
