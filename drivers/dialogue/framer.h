/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Finding the end of a reply while it is still coming in. A framer remembers
 * how far it has looked, so that a reply of any length is gone through once,
 * and jumps over blocks, whose length is announced.
 */
#ifndef GRADUS_DRIVERS_FRAMER_H
#define GRADUS_DRIVERS_FRAMER_H

#include "response.h"

#include <stdbool.h>
#include <stddef.h>

enum framer_state {
    FRAMER_ELEMENT,    /* before the first character of an element */
    FRAMER_TEXT,       /* inside or behind an element */
    FRAMER_STRING,     /* between quotes */
    FRAMER_HASH,       /* behind a # that begins an element */
    FRAMER_LENGTH,     /* in the length digits of a definite block */
    FRAMER_BLOCK,      /* in the bytes of a definite block */
    FRAMER_INDEFINITE, /* in an indefinite block: to the end of the message */
    FRAMER_RETURN      /* behind a CR that must be followed by NL */
};

struct framer {
    size_t limit;           /* longest message with terminator */
    bool marks_end;         /* the link will mark the end of the message */
    const char *terminator; /* plain text: ends a reply; NULL: IEEE 488.2 */
    enum framer_state state;
    size_t position; /* bytes looked at */
    size_t block;    /* FRAMER_LENGTH, FRAMER_BLOCK: bytes of the block still to come */
    int digits;      /* FRAMER_LENGTH: digits still to come */
    char quote;      /* FRAMER_STRING: what closes it */
};

/*
 * Starts a message of IEEE 488.2: it ends at the first newline outside
 * strings and blocks. `marks_end`: the link marks ends of messages itself, so
 * that indefinite blocks can be framed.
 */
void framer_start_488(struct framer *framer, bool marks_end, size_t limit);

/*
 * Starts a reply of plain text. It ends at the last byte of `terminator`,
 * and the bytes before that must be the rest of it, or where the link marks
 * its end. `terminator` is borrowed and not empty.
 */
void framer_start_line(struct framer *framer, const char *terminator, size_t limit);

/*
 * Looks at what has come in since the last call. `bytes` always begins with
 * the first byte of the message; `count` only grows. `end`: the link marked
 * the end of the message after these bytes. Results as response_frame(); a
 * message without end within the limit is FAILURE_BABBLE.
 */
enum frame framer_feed(struct framer *framer, const char *bytes, size_t count, bool end,
                       size_t *length, size_t *body, struct failure *failure);

#endif
