/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Response messages of IEEE 488.2 (NR1, NR2, NR3, #H #Q #B, strings,
 * character data, definite and indefinite blocks, arbitrary ASCII) and the
 * special numbers of SCPI-1999. Syntax is checked before anything is
 * converted, and the whole field must be used up; nothing here knows a
 * locale. After IEEE 488.2 8.4 to 8.7 and SCPI-1999 7.2.1, as makers'
 * programming manuals quote them.
 */
#ifndef GRADUS_DRIVERS_RESPONSE_H
#define GRADUS_DRIVERS_RESPONSE_H

#include "core/basics/failure.h"

#include <stdbool.h>
#include <stddef.h>

enum element_type {
    ELEMENT_NUMBER,    /* NR1, NR2, NR3 or NRf: `number` */
    ELEMENT_INTEGER,   /* #H, #Q, #B: `number`, exact up to 2^53 */
    ELEMENT_STRING,    /* bytes between the quotes, inner quotes still doubled */
    ELEMENT_CHARACTER, /* a word */
    ELEMENT_BLOCK      /* bytes of a definite or indefinite block */
};

enum number_special {
    SPECIAL_NONE,
    SPECIAL_INFINITY, /* 9.9E37: over range. Any magnitude of 9.8E37 or more that is not below */
    SPECIAL_MINUS_INFINITY, /* -9.9E37 */
    SPECIAL_NOT_A_NUMBER    /* 9.91E37: there is no value */
};

/* One element. `bytes` points into the message. */
struct element {
    enum element_type type;
    enum number_special special;
    double number;
    const char *bytes;
    size_t count;
    size_t unit; /* which query of the message it answers, from 0 */
};

/* A message in the making, as seen by response_frame(). */
enum frame {
    FRAME_INCOMPLETE, /* more bytes are needed */
    FRAME_COMPLETE,   /* *length bytes, terminator included, make a message */
    FRAME_INVALID     /* no continuation can make this a message; the failure says why */
};

/*
 * Finds the end of the first message in `bytes`: the first newline outside
 * strings and blocks. Announced block lengths are bounded by `limit` before
 * anything is waited for (nine digits can claim 999 999 999 bytes); an
 * indefinite block needs `end`.
 *
 * end     the link marked the end of the message after these bytes
 * length  out: bytes of the message with its terminator
 * body    out: bytes without terminator (CR NL and NL are dropped)
 */
enum frame response_frame(const char *bytes, size_t count, bool end, size_t limit, size_t *length,
                          size_t *body, struct failure *failure);

/*
 * Takes a message body (no terminator) apart. Fails with
 * FAILURE_UNEXPECTED_REPLY on anything that is no response message: empty
 * fields, text after a closed string, NUL or bytes above 7E outside blocks.
 *
 * max       room in `elements`
 * n         out: how many there are
 */
bool response_parse(const char *body, size_t count, struct element *elements, size_t max, size_t *n,
                    struct failure *failure);

/*
 * Reads a body that must be exactly one number (form NRf, or #H #Q #B).
 * `5 V`, `1,5`, `0x1A`, `nan`, `1e400` and two answers in one are refused.
 */
bool response_number(const char *body, size_t count, double *number, enum number_special *special,
                     struct failure *failure);

/*
 * Reads decimal text [sign] digits [. digits] [E [sign] digits], all of it,
 * into the nearest double. False for anything else or an infinite result.
 */
bool decimal_parse(const char *text, size_t count, double *number);

/*
 * Classifies a value: any |x| >= 9.8E37 is none. SCPI-1999 7.2.1.4 and 7.2.1.5
 * have 9.9E37 for infinity and 9.91E37 for not a number.
 */
enum number_special number_classify(double number);

/*
 * Checks an identity answer: four comma-separated fields, none empty. Writes
 * a warning (longer than 72 characters and the like) to `warning` if there is
 * one, else an empty text.
 */
bool identity_check(const char *body, size_t count, char *warning, size_t warning_size,
                    struct failure *failure);

#endif
