/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The listener of a SCPI-1999 instrument: program messages with `;` chaining
 * and the header path, short and long forms, numeric suffixes, the error queue
 * and the event status register. A table of rows says what there is; anything
 * else is an entry in the error queue and no answer.
 */
#ifndef STANDIN_SCPI_H
#define STANDIN_SCPI_H

#include "scpi_match.h"
#include "tools/standin/basics/reply_text.h"

#include <stdbool.h>
#include <stddef.h>

enum { SCPI_QUEUE = 16, SCPI_ERROR_TEXT = 96 };

/* Bits of the event status register. */
enum { SCPI_ESR_QUERY = 4, SCPI_ESR_DEVICE = 8, SCPI_ESR_EXECUTION = 16, SCPI_ESR_COMMAND = 32 };
enum { SCPI_ESR_USER = 64, SCPI_ESR_POWER_ON = 128 };

struct scpi_error {
    int number;
    char text[SCPI_ERROR_TEXT];
};

/* Errors and status of one instrument. */
struct scpi {
    size_t count;
    struct scpi_error errors[SCPI_QUEUE];
    unsigned esr;
    unsigned enable; /* event status enable register: kept, and of no effect here */
};

/* One command or query as it reaches its row. */
struct scpi_call {
    void *owner;               /* what scpi_execute() was given */
    struct scpi *scpi;         /* for scpi_report() */
    int suffix[SCPI_SUFFIXES]; /* of the `#` places of the pattern, 1 when left out */
    int tag;                   /* of the row */
    const char *argument;      /* white space taken off both ends; "" when there is none */
    struct text *answer;       /* a query adds its answer here, without terminator */
};

typedef void scpi_action(struct scpi_call *call);

/*
 * What is understood. In a pattern, capitals are the short form of a word and
 * `#` is the place of a numeric suffix up to `suffix_limit` (0: 1). An action
 * that is NULL does not exist. One that `takes` an argument takes exactly one.
 * The tag is handed to the action, so that rows can share one.
 */
struct scpi_row {
    const char *pattern;
    scpi_action *set;
    bool set_takes;
    scpi_action *query;
    bool query_takes;
    int suffix_limit;
    int tag;
};

/* Power-on: empty queue, PON set. */
void scpi_reset(struct scpi *scpi);

/* Empties queue and event status register. */
void scpi_clear(struct scpi *scpi);

/* Adds an error and its class bit; `text` NULL: the standard's text for the number. */
void scpi_report(struct scpi *scpi, int number, const char *text);

/* Takes the oldest error out: `number,"text"`, or `0,"No error"`. */
void scpi_read_error(struct scpi *scpi, struct text *answer);

/*
 * Executes a program message (no terminator). `rows` ends with a NULL pattern.
 * Answers of several queries are joined by `;`. Returns how many queries
 * answered.
 */
size_t scpi_execute(struct scpi *scpi, const struct scpi_row *rows, void *owner,
                    const char *message, struct text *answer);

/* The argument as a plain decimal number; reports -104 or -138 when it is none. */
bool scpi_number(struct scpi_call *call, double *number);

/* The argument as one of the words (in pattern form, NULL ends); reports -224 when it is none. */
bool scpi_choice(struct scpi_call *call, const char *const *words, size_t *choice);

#endif
