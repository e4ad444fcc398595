/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * A scope and a meter that exist only here, behind Unix sockets: drawn at random within specifications
 * that their profiles state, with a signal at the tip of their probes that is written down as arithmetic, and a
 * hand that turns knobs between any two messages. Shares no arithmetic with the house.
 */
#ifndef GRADUS_TESTS_RACK_H
#define GRADUS_TESTS_RACK_H

#include <stdbool.h>
#include <stddef.h>

enum rack_shape {
    RACK_LEVEL,
    RACK_SINE,
    RACK_SQUARE, /* of any duty */
    RACK_TRIANGLE,
    RACK_SAWTOOTH,
    RACK_DECAY,   /* steep up, exponentially down */
    RACK_RINGING, /* a square that rings */
    RACK_RECTIFIED,
    RACK_SHAPES
};

/* At the tip, unloaded. */
struct rack_signal {
    enum rack_shape shape;
    double level;     /* of the middle */
    double amplitude; /* half of what it swings */
    double frequency; /* hertz */
    double duty;      /* of a square, and how fast a decay is */
    double noise;     /* RMS, white */
};

enum rack_aspect { RACK_MEAN, RACK_AC, RACK_RMS, RACK_PEAKS, RACK_HIGH, RACK_LOW, RACK_ASPECTS };

/* What the aspect of a signal is, without its noise. */
double rack_truth(const struct rack_signal *signal, enum rack_aspect aspect);

struct rack;

/* Draws instruments and starts them. NULL on failure; rack_stop() frees. */
struct rack *rack_start(unsigned seed);

void rack_stop(struct rack *rack);

/* Folder with the profiles, and the text of the settings; valid as long as the rack. */
const char *rack_folder(const struct rack *rack);
const char *rack_settings(const struct rack *rack);

/* Puts a signal on all inputs; within `messages` from now a hand may turn a knob; 0: none does. */
void rack_play(struct rack *rack, const struct rack_signal *signal, unsigned messages);

/* Whether the hand was there since. */
bool rack_touched(struct rack *rack);

/* What the meter's highest, and the scope's widest, range takes at the tip. */
double rack_most(const struct rack *rack, bool scope);

#endif
