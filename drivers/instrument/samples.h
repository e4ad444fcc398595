/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * A scope's answer to the waveform query: a block of binary samples or a list
 * of decimal codes, turned into volts at the input. The scaling and the byte
 * order are the profile's (makers disagree on what FORMat:BORDer NORMal is); a
 * code at either end of the converter is clipped and says which way the signal
 * ran off.
 */
#ifndef GRADUS_DRIVERS_SAMPLES_H
#define GRADUS_DRIVERS_SAMPLES_H

#include "drivers/dialogue/dialogue.h"
#include "drivers/profile/profile.h"

/* Room for samples, reused from record to record. Start with {0}; `volts` is freed with free(). */
struct record {
    double *volts;
    size_t capacity;
};

/* One exchange that fetches samples. */
struct samples {
    const struct scope *scope; /* in: what codes mean */
    const struct setup *setup; /* in: what they were taken with */
    struct record *record;     /* in: where the volts go */
    size_t count;              /* out */
    bool clipped_high;         /* out */
    bool clipped_low;
};

/* The reply_reader of a waveform query; `out` is a struct samples. */
bool samples_read(const struct reply *reply, void *out, struct failure *failure);

#endif
