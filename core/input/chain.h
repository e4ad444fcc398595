/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The chain from the circuit to the number: source, probe, input, range,
 * converter. Given how the input is set up and what was seen there, it says
 * what stands at the tip and how uncertain that is. The range planner and
 * the final reading ask the same functions, so the range that is chosen is
 * the best one by the very budget that is reported.
 *
 * "Input units" are those of the instrument's input terminals (volts for a
 * scope), "tip units" those of the probe's tip.
 */
#ifndef GRADUS_CORE_CHAIN_H
#define GRADUS_CORE_CHAIN_H

#include "accuracy.h"
#include "core/basics/quantity.h"
#include "core/uncertainty/budget.h"
#include "loading.h"
#include "probe.h"
#include "suitability.h"

#include <stdbool.h>
#include <stddef.h>

enum { CHAIN_MAX_RANGES = 32 };

enum coupling { COUPLING_DC, COUPLING_AC, COUPLING_GROUND };

/* One range of a meter function, or one vertical setting of a scope. Input units. */
struct range {
    double full_scale; /* nominal: meter full scale; scope: volts/div times divisions */
    double low;        /* with no offset and no position, the range shows low ... high; */
    double high;       /*   anything beyond is overload or off the screen */
    double peak;       /* largest |instantaneous| input of an ac function; NAN: no such limit */
    double resolution; /* one count or converter step, > 0 */
    double volts_per_division;    /* 0 for a meter */
    double offset_span;           /* largest |offset| that can be set on this range; 0: none */
    double input_resistance;      /* ohm; NAN: not known */
    double resistance_tolerance;  /* relative bound on input_resistance */
    double input_capacitance;     /* farad; NAN: not known */
    double capacitance_tolerance; /* relative bound on input_capacitance; NAN: not known */
    struct accuracy
        accuracy; /* of the reading (meter), of the deflection from the offset (scope) */
};

/* What an instrument's input can be set to, for one quantity. */
struct front_end {
    size_t count;               /* 1 to CHAIN_MAX_RANGES */
    const struct range *ranges; /* ascending full_scale; owned by the caller */
    bool vertical;              /* a scope: all that follows applies */
    double divisions;           /* of the screen's height */
    double position_divisions;  /* the trace can be moved this far up or down; 0: not at all */
    double baseline_divisions;  /* bound on where the zero trace lies, divisions */
    double offset_fraction;     /* bound on the offset's own error, of |offset| */
    bool ground_reference;      /* the zero trace can be seen, so the baseline is subtracted */
    bool ac_coupling;           /* dc coupling is always there */
    double ac_corner;           /* -3 dB of the ac coupling, hertz */
};

/* How the input is set up for one acquisition. The screen's centre is offset - position. */
struct setup {
    size_t range; /* index into front_end.ranges */
    enum coupling coupling;
    double offset;   /* calibrated offset, input units; 0 for a meter */
    double position; /* how far the zero trace is moved up, input units; 0 for a meter */
};

/* What was seen at the input in one acquisition (or is expected there). Input units. */
struct signal {
    double value; /* of the aspect that is wanted */
    double mean;  /* dc level */
    double low;   /* smallest and largest instantaneous value; for a meter both equal value */
    double high;
    double noise; /* standard deviation of one sample; 0 when not known */
    double
        doubt; /* bound on what noise and samples still do to the value, core/waveform/estimate */
    double samples;   /* how many the value was formed from, >= 1 */
    double frequency; /* hertz; NAN when not known */
    double scatter;   /* standard uncertainty of the value by noise, core/waveform/estimate */
    double edges; /* bound on what edges between samples do to the value, core/waveform/estimate */
    double averaged; /* independent roundings that the value is a mean of; 0 and 1: just one */
    double drift;    /* bound on what the value moved while it was measured */
    bool passing;    /* an average that holds for its record only, core/waveform/steadiness */
    double
        uncoupled; /* a peak-to-peak value, which is that before ac coupling, over that behind it; 0: it
                          is that behind it */
    double resolution; /* of the range on which noise, doubt and scatter were seen; 0: not known */
};

/* One level, read once and without noise. */
struct signal signal_level(double level);

/* Everything that stays the same while one point is measured. Pointers are borrowed. */
struct chain {
    const struct front_end *input;
    const struct probe *probe;
    enum aspect aspect;
    struct source source;
    bool correct_loading; /* correct the value, or only report the error */
    double ambient;       /* degrees Celsius */
    double crest_factor;  /* of the signal, for ac meter functions; NAN when not known */
    double frequency;     /* of the signal as it is stated, hertz; NAN when not known */
    struct waveshape shape;
    struct abilities abilities; /* what instrument and probe see of the signal */
    bool keeps_level;           /* ac coupling would bend what is looked for */
    double
        lowest_frequency; /* hertz: what a record of this length can still show; NAN: not known */
};

/* What the input shows in this setup: everything between *low and *high, input units. */
void setup_window(const struct front_end *input, const struct setup *setup, double *low,
                  double *high);

/*
 * What an instrument adds to a signal belongs to the range on which it was seen and not to the
 * circuit, so that on another range noise, doubt and scatter are taken as so many steps of that: a
 * wide range says nothing of a faint signal's noise. Where it is the circuit's after all, the
 * finer range shows it.
 */

/*
 * Bound on the error of one instantaneous value seen in this setup: accuracy,
 * half a step, baseline and offset, and three sigma of the noise, linearly.
 */
double chain_error_limit(const struct chain *chain, const struct setup *setup,
                         const struct signal *signal, double value);

/* The load that the probe, or the bare input on this range, puts on the point. */
struct load chain_load(const struct chain *chain, const struct setup *setup);

/*
 * Loading of the point in this setup: at the stated frequency for ac and
 * peak-to-peak values of a sine where all of it is known, else resistive.
 */
struct loading chain_loading(const struct chain *chain, const struct setup *setup);

/*
 * Value of the wanted aspect at the tip: input through the probe, and through
 * the loading correction where that is asked for and known. An aspect that
 * ignores the mean (ac, peak-to-peak) ignores the probe's offset too, and so
 * does an RMS, which needs a probe without one. A value without a sign keeps
 * none through a probe that inverts.
 */
double chain_value(const struct chain *chain, const struct setup *setup, double input);

/* The inverse of chain_value(), for expected values and limits. */
double chain_input(const struct chain *chain, const struct setup *setup, double tip);

/*
 * Fills `budget` with every contribution of the chain at this setup and
 * signal, in tip units. The repeatability of repeated readings is the
 * caller's to add.
 */
void chain_budget(const struct chain *chain, const struct setup *setup, const struct signal *signal,
                  struct budget *budget);

/* Combined standard uncertainty of chain_budget(), tip units. */
double chain_uncertainty(const struct chain *chain, const struct setup *setup,
                         const struct signal *signal);

#endif
