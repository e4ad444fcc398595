/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Mistakes that people make at the bench, as far as a reading shows them: a
 * switch in the wrong position, a setting left on, a rating overstepped, a look too short. Each
 * is told in plain words with what to look at; whether it blocks the reading
 * or only warns is the bench's policy. Signs, not proofs: a reading near a
 * tenth of what is expected may be right.
 */
#ifndef GRADUS_CORE_MISTAKES_H
#define GRADUS_CORE_MISTAKES_H

#include "core/basics/quantity.h"

#include <stdbool.h>
#include <stddef.h>

enum mistake_policy { MISTAKE_WARN, MISTAKE_BLOCK };

/* Every kind once: name, key in the settings, policy unless they say otherwise, what it is. */
#define MISTAKE_TABLE(X)                                                                           \
    X(RATING, "rating", MISTAKE_BLOCK, "the signal exceeds the rating of probe or input")          \
    X(PROBE_SWITCH, "probe_switch", MISTAKE_WARN,                                                  \
      "a reading near a tenth of, or ten times, what is expected or the limits allow")             \
    X(TERMINATION, "termination", MISTAKE_WARN, "a reading as with the input's 50 ohm left on")    \
    X(AC_COUPLING, "ac_coupling", MISTAKE_WARN, "next to nothing where a dc value is expected")    \
    X(OPEN_LEAD, "open_lead", MISTAKE_WARN,                                                        \
      "nothing where something is expected or the limits ask for it")                              \
    X(GROUND_REFERENCE, "ground_reference", MISTAKE_WARN,                                          \
      "the zero trace is further off than it may be")                                              \
    X(GROUND_CLIP, "ground_clip", MISTAKE_BLOCK, "a scope at a point that is tied to the mains")   \
    X(LEAD_ZERO, "lead_zero", MISTAKE_WARN, "the zero of the leads is too old")                    \
    X(CALIBRATION, "calibration", MISTAKE_WARN, "the calibration is overdue")                      \
    X(RECORD_ONLY, "record_only", MISTAKE_WARN,                                                    \
      "a value that holds for its record only, since the signal changes more slowly than that")

enum mistake_kind {
#define X(name, key, policy, help) MISTAKE_##name,
    MISTAKE_TABLE(X)
#undef X
        MISTAKE_COUNT
};

/* What is known once a reading has been evaluated. Tip units; NAN when not known. */
struct circumstances {
    enum aspect aspect;
    const char *unit; /* borrowed */
    double value;
    double uncertainty; /* expanded, of value, >= 0 */
    double expected;    /* what the point should show */
    double tolerance;   /* relative bound on expected, 0 to 1 */
    double low;         /* limits of the value, infinite where there is none: these tell what */
    double high;        /*   the point should show where nothing is expected */
    double peak;        /* largest |instantaneous value| */
    double rating;      /* of the probe at the signal's frequency, derated */
    double input_peak;  /* volts at the instrument's terminals */
    double input_rating;
    double source_resistance; /* ohm, of the circuit behind the point */
    bool scope;
    bool bare;         /* no divider or transducer: the input itself stands at the point */
    bool ac_coupling;  /* the instrument has it */
    double zero_level; /* divisions that the zero trace was found off its place; NAN: not seen */
    double zero_bound; /* divisions it may be off */
    bool mains_referenced;       /* the point's circuit is tied to the mains */
    bool isolated;               /* the probe isolates the point from the instrument's ground */
    double record;               /* seconds that a scope looked; NAN: no scope */
    bool no_period;              /* it shows a swing, and no whole period of it */
    bool passing;                /* what was averaged had not come to its average in that time */
    bool overdue;                /* the calibration was due before today */
    double leads_age;            /* seconds since the leads were zeroed; NAN: they never were */
    double leads_most;           /* seconds that a zero holds */
    const char *instrument;      /* its name; borrowed */
    const char *calibration_due; /* ISO date; borrowed */
};

struct mistake {
    enum mistake_kind kind;
    char words[160];
};

/* The key of a kind in the settings, for example "probe_switch". Never NULL. */
const char *mistake_key(enum mistake_kind kind);

/* What is done about a kind unless the settings say otherwise. */
enum mistake_policy mistake_default(enum mistake_kind kind);

/*
 * Looks for all kinds; writes those that are likely into `found`, the gravest first,
 * and returns how many. `found` has room for MISTAKE_COUNT.
 *
 * A reading is "close to" a figure when it is within its own uncertainty and
 * the tolerance of what is expected, and is not also close to what is
 * expected itself. 50 ohm left on reads 50 / (50 + Rs) of it, half where Rs is
 * not known: generators and lines of 50 ohm are what it is meant for.
 *
 * Where nothing is expected, a value beyond a limit of which a tenth, or ten times as much, is within
 * the limits and no further from that limit than a factor of two tells of a switch as well. One limit
 * alone says nothing of a value that keeps it: only what is expected would show that mistake.
 */
size_t mistakes_find(const struct circumstances *facts, struct mistake found[MISTAKE_COUNT]);

#endif
