/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * One instrument of the bench: its physical model, the language it speaks,
 * what is tied to its inputs, its faults, and what it remembers for tests.
 */
#ifndef STANDIN_INSTRUMENT_H
#define STANDIN_INSTRUMENT_H

#include "fault.h"
#include "tools/standin/basics/reply_text.h"
#include "tools/standin/circuit/hand.h"
#include "tools/standin/circuit/meter.h"
#include "tools/standin/circuit/scope.h"
#include "tools/standin/scpi/scpi.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

enum { INSTRUMENT_NAME = 48, INSTRUMENT_LOG = 512, INSTRUMENT_LOG_TEXT = 256 };

struct instrument;

/*
 * What one command leads to. The language adds to `text`; `now` is given.
 *
 * One idea in two halves; the other half is keys.h, the hand at its panel.
 */
struct answer {
    struct text text; /* without terminator; empty: no reply */
    bool replies;     /* there is a reply */
    double delay_ms;  /* how long the instrument is busy before it replies */
    double now;       /* seconds since the bench started */
};

/* A language: framing and the function that understands one command. */
struct language {
    const char *type; /* as in the bench file */
    const struct meter_type *meter;
    const struct scope_type *scope; /* exactly one of the two */
    char command_end;
    const char *reply_end;
    bool error_queue;
    /* Executes one command, `command_end` taken off. */
    void (*execute)(struct instrument *instrument, const char *command, struct answer *answer);
    /* A command was longer than the input buffer. */
    void (*overrun)(struct instrument *instrument, struct answer *answer);
};

/* How an instrument is made; texts are borrowed until instrument_new() returns. */
struct instrument_plan {
    char name[INSTRUMENT_NAME];
    char type[16];
    const struct language *language; /* of that type */
    char listen[128];                /* see port.h */
    char serial[24];
    char gadget[128]; /* usb, acm: configfs folder of the gadget; empty: not told */
    char udc[64];     /* usb, acm: the controller to plug it into; empty: a script does */
    double baud;      /* tty */
    double seed;
    double error_fraction; /* of the specification; 0: ideal */
    double conversion_ms;  /* NAN: as the type would take */
};

struct counters {
    uint64_t connections;
    uint64_t commands;
    uint64_t queries;  /* replies formed */
    uint64_t readings; /* conversions and records */
    uint64_t knobs;    /* turned, and keys pressed, by hand */
};

struct log_entry {
    double time;
    char command[INSTRUMENT_LOG_TEXT];
};

struct instrument {
    char name[INSTRUMENT_NAME];
    char serial[24];
    const struct language *language;
    struct meter meter; /* of a meter's language only */
    struct scope scope; /* of a scope's language only */
    struct scpi scpi;
    struct tie ties[METER_INPUTS];
    struct hand hands[METER_INPUTS]; /* one that holds is in the place of the wire */
    struct faults faults;
    double conversion_ms; /* NAN for a scope: the record's own time */
    double busy_until;    /* a scope's acquisition ends then */
    bool locked;          /* the keys on its front do nothing (:SYSTem:KLOCk) */
    gsl_rng *rng;
    struct counters counters;
    uint64_t logged; /* entries ever; the ring holds the last ones */
    struct log_entry log[INSTRUMENT_LOG];
};

/* Makes an instrument whose errors follow from both seeds and its name. */
struct instrument *instrument_new(const struct instrument_plan *plan, uint64_t bench_seed);

/* Accepts NULL. */
void instrument_free(struct instrument *instrument);

/* How many inputs it has. */
size_t instrument_inputs(const struct instrument *instrument);

/* Power fails and comes back: every setting as at power-on; ties and errors stay. */
void instrument_restart(struct instrument *instrument);

/* Notes a command, then executes it. */
void instrument_execute(struct instrument *instrument, const char *command, struct answer *answer);

/* Relays moved so far: ranges, functions, inputs, couplings. */
uint64_t instrument_relay_changes(const struct instrument *instrument);

/* For languages: one reading of a meter as it is set; its conversion time joins the delay. */
struct meter_reading instrument_read(struct instrument *instrument, struct answer *answer);

/* For languages: takes a record; `record_s` is how long it lasts in the world. */
void instrument_acquire(struct instrument *instrument, double record_s, struct answer *answer);

/* For languages: begins to wait for the trigger that is set. */
void instrument_arm(struct instrument *instrument, const struct answer *answer);

/* For languages: whether it still waits for its trigger; when that came the record has been taken. */
bool instrument_waits(struct instrument *instrument, const struct answer *answer);

/* For languages: ends a wait and a record under way. */
void instrument_abort(struct instrument *instrument);

/*
 * For languages: the codes of the last record of an input as they are to be sent, which faults
 * may change. Free with free().
 */
int16_t *instrument_record(struct instrument *instrument, size_t input, size_t *count);

/* For languages: whether the last record is still being taken. */
bool instrument_busy(const struct instrument *instrument, const struct answer *answer);

#endif
