/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What the parts of the rack share. */
#ifndef GRADUS_TESTS_RACK_PRIV_H
#define GRADUS_TESTS_RACK_PRIV_H

#include "rack.h"

#include <pthread.h>

enum { RACK_RANGES = 12, RACK_TEXT = 8192, RACK_SAMPLES = 2500, RACK_FUNCTIONS = 2 };

/* One instrument: what it is, what it really does, and how it is set. */
struct rack_scope {
    int bits;
    size_t points;
    double scales[RACK_RANGES]; /* volts per division */
    size_t count;
    double gain, baseline, offset_error; /* bounds that are stated: relative, divisions, relative */
    bool has_offset;                     /* else a position */
    double gains[RACK_RANGES], baselines[RACK_RANGES], offset_off; /* shares of these, -1 to 1 */
    double resistance;                                             /* input's own */
    double scale, position, offset, span;
    char coupling[8];
};

struct rack_meter {
    double full_scales[RACK_RANGES];
    size_t count;
    double digits;                                           /* steps in a full scale */
    double reading[2], range[2];                             /* bounds, relative, of dc and of ac */
    double readings[2][RACK_RANGES], ranges[2][RACK_RANGES]; /* shares of these */
    double resistance;
    double full_scale;
    int function;
};

struct rack_server {
    struct rack *rack;
    bool is_scope;
    int listener;
    char path[96];
    pthread_t thread;
};

struct rack {
    pthread_mutex_t mutex;
    unsigned short state[3];
    struct rack_signal signal;
    unsigned countdown; /* messages until the hand comes; 0: it does not */
    bool touched;
    struct rack_scope scope;
    struct rack_meter meter;
    double source;  /* ohms, as it is */
    double divider; /* probe's factor, as it is */
    double tip;     /* its resistance */
    struct rack_server servers[2];
    char folder[64];
    char settings[RACK_TEXT];
};

double rack_even(struct rack *rack, double low, double high);
double rack_normal(struct rack *rack);

/* A signal's value at a time, without noise and level: -1 to 1 and a little more where it rings. */
double rack_at(const struct rack_signal *signal, double seconds);

/* Draws instruments, source and probe, and writes what is stated of them. */
bool rack_draw(struct rack *rack);

/* One record of the scope as codes, of the signal through divider, coupling and converter. */
void rack_record(struct rack *rack, int codes[RACK_SAMPLES]);

/* What the meter shows; INFINITY for an overload. */
double rack_shown(struct rack *rack);

#endif
