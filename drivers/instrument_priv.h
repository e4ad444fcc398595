/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Shared by instrument.c, meter.c and scope.c only. */
#ifndef GRADUS_DRIVERS_INSTRUMENT_PRIV_H
#define GRADUS_DRIVERS_INSTRUMENT_PRIV_H

#include "command.h"
#include "instrument.h"

enum { INSTRUMENT_MAX_INPUTS = 8 };

/*
 * What is set at the instrument, each as the text that was sent last. A text
 * that is already in its slot is not sent again; an empty slot is not known.
 */
enum slot {
    SLOT_ROUTE,
    SLOT_FUNCTION,
    SLOT_RANGE,
    SLOT_TIMEBASE,
    SLOT_COUPLING,
    SLOT_VERTICAL,
    SLOT_OFFSET,
    SLOT_POSITION,
    SLOT_COUNT
};

/* Level of the zero trace, as taken at one range and position. */
struct ground {
    bool taken;
    size_t range;
    double position;
    double level;
    int64_t when; /* monotonic */
};

struct instrument {
    const struct profile *profile;
    struct dialogue *dialogue;
    char name[64];
    unsigned epoch; /* of the dialogue when the slots were filled */
    char slots[INSTRUMENT_MAX_INPUTS][SLOT_COUNT][COMMAND_SIZE];
    int64_t proved; /* monotonic: when a meter's settings were last read back */
    struct ground grounds[INSTRUMENT_MAX_INPUTS];
    double *volts; /* a scope's samples, reused */
    size_t capacity;
};

/*
 * Sends a command unless the slot says that it was the last one sent there.
 * Sets *changed when it was sent, leaves it alone when not. Settings that all
 * inputs share live with input 1.
 */
bool instrument_set(struct instrument *instrument, int input, enum slot slot, const char *text,
                    const struct command_values *values, bool *changed, struct deadline deadline,
                    struct failure *failure);

/* As instrument_set(), for a list of commands that belong together. */
bool instrument_set_all(struct instrument *instrument, int input, enum slot slot,
                        const struct commands *commands, const struct command_values *values,
                        bool *changed, struct deadline deadline, struct failure *failure);

/* Forgets a slot, so that the next setting is sent whatever it is. */
void instrument_forget(struct instrument *instrument, int input, enum slot slot);

/*
 * After a change: reads the error queue where there is one and lets the
 * input settle for `settle_ms`.
 */
bool instrument_settle(struct instrument *instrument, double settle_ms, struct deadline deadline,
                       struct failure *failure);

/*
 * Asks a check's query and demands the pattern, or where it has none the
 * number `number` (to 1 part in 1e6).
 */
bool instrument_check(struct instrument *instrument, const struct check *check,
                      const struct command_values *values, double number, enum failure_code failed,
                      const char *what, struct deadline deadline, struct failure *failure);

/* instrument_acquire() for a meter; the dialogue is ready. */
bool meter_acquire(struct instrument *instrument, const struct request *request,
                   struct deadline deadline, struct acquisition *acquisition,
                   struct failure *failure);

/* instrument_acquire() for a scope; the dialogue is ready. */
bool scope_acquire(struct instrument *instrument, const struct request *request,
                   struct deadline deadline, struct acquisition *acquisition, struct trace *trace,
                   struct failure *failure);

/* One exchange that fetches a scope's samples into instrument->volts. */
struct samples {
    struct instrument *instrument; /* in: whose buffer; input and setup say what codes mean */
    const struct setup *setup;
    size_t count;      /* out */
    bool clipped_high; /* out */
    bool clipped_low;
};

/* The reply_reader of a waveform query; `out` is a struct samples. */
bool samples_read(const struct reply *reply, void *out, struct failure *failure);

#endif
