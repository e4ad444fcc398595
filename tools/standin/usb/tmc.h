/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The bulk messages of a USBTMC device, without any input or output: what
 * comes on bulk-out is taken apart packet by packet, and answers get their
 * headers. Universal Serial Bus Test and Measurement Class 1.00, 3.2 and 3.3,
 * with the USB488 subclass 1.00. Numbers on the wire are little-endian.
 */
#ifndef STANDIN_TMC_H
#define STANDIN_TMC_H

#include "tools/standin/instrument/fault.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

enum { TMC_HEADER = 12 };

/* MsgID of the messages there are; no instrument of the bench has a trigger. */
enum tmc_message { TMC_DATA_OUT = 1, TMC_DATA_IN = 2 };

/* What a packet on bulk-out led to. */
enum tmc_step {
    TMC_GOES_ON, /* the transfer is not over */
    TMC_TAKEN,   /* it is, and the command goes on in the next one */
    TMC_ENDED,   /* it is, and the command too */
    TMC_ASKED,   /* an answer is asked for; see `asked` */
    TMC_REFUSED  /* against the protocol: halt bulk-out */
};

/* An answer asked for. */
struct tmc_request {
    uint8_t tag;
    uint32_t size;  /* most bytes wanted */
    bool uses_term; /* it ends after the byte `term` too */
    uint8_t term;
};

/* The state of bulk-out. All zero, but for `packet`, at the beginning and after a clear. */
struct tmc_out {
    size_t packet;     /* bytes of a full packet at the present speed */
    bool open;         /* amid a transfer */
    bool unended;      /* amid a command of several transfers */
    bool ends;         /* the command ends with this transfer */
    uint8_t tag;       /* of the last header */
    uint64_t whole;    /* bytes of the transfer with header and alignment */
    uint32_t size;     /* message bytes of it */
    uint64_t received; /* bytes of it that came, header included */
    struct tmc_request asked;
};

/*
 * Bytes to read next from bulk-out, whole packets, `most` at most. A header is
 * read with one packet, for the length stands there and a host may send whole
 * packets without a short one behind them.
 */
size_t tmc_wanted(const struct tmc_out *out, size_t most);

/* Takes what one read gave; `*data` and `*count` are the message bytes in it. */
enum tmc_step tmc_take(struct tmc_out *out, const uint8_t *bytes, size_t got, const uint8_t **data,
                       size_t *count);

/* How many of `count` bytes one answer to a request takes. */
size_t tmc_fitting(const struct tmc_request *request, const uint8_t *bytes, size_t count);

/* Bytes of a transfer of so many message bytes, aligned to 4. */
size_t tmc_transfer_size(size_t count);

/*
 * Writes the transfer that answers a request with `count` bytes (as
 * tmc_fitting() allows) into `transfer`, which holds tmc_transfer_size(count);
 * `end`: the message is over. Faults of USB damage it. Returns the bytes to be
 * sent; when they fill whole packets an empty packet must follow.
 */
size_t tmc_answer(const struct tmc_request *request, const uint8_t *bytes, size_t count, bool end,
                  enum fault_kind damage, uint8_t *transfer);

#endif
