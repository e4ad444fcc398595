/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The range planner: a pure state machine that finds the setup with the
 * smallest uncertainty for the signal that is really there, and never ends
 * on one that is overloaded, clipped or off the screen.
 *
 *     plan_start(&plan, &chain, NULL);
 *     while (plan_next(&plan, &setup, &failure) == PLAN_ACQUIRE) {
 *         ... set the input up, acquire ...
 *         plan_reading(&plan, &signal);    or    plan_overload(&plan, side);
 *     }
 *
 * It keeps an interval in which the signal's extremes must lie. Each
 * acquisition narrows it, and the next setup is the best of all that surely
 * hold it: the planner jumps, it does not walk. When no sure setup is better,
 * a scope's plan also tries one that holds the signal as it was seen, and a
 * meter's plan the next lower range, if the signal may be within it. A setup
 * that overloaded is not tried again until the signal has clearly become
 * smaller, so noise makes it settle.
 */
#ifndef GRADUS_CORE_PLAN_H
#define GRADUS_CORE_PLAN_H

#include "core/basics/failure.h"
#include "setups.h"

/* More acquisitions than this without settling: the signal is unstable. */
enum { PLAN_MAX_STEPS = 12 };

/* So is one that contradicts what was just known of it as often as this. */
enum { PLAN_MAX_MOVES = 3 };

/* A change of setup must make the uncertainty smaller by this share of it. */
#define PLAN_WORTH 0.005

enum plan_action {
    PLAN_ACQUIRE, /* set the input up as told, acquire, and report */
    PLAN_SETTLED, /* the last acquisition is the reading */
    PLAN_FAILED   /* there is no reading; the failure says why */
};

/* Which end of the window the signal ran over. */
enum side { SIDE_HIGH, SIDE_LOW, SIDE_UNKNOWN };

enum step_outcome {
    STEP_PENDING,         /* handed out, not reported yet */
    STEP_SETTLED,         /* the reading */
    STEP_POOR_RESOLUTION, /* in range, but another setup is better */
    STEP_OVERLOAD,        /* outside the window */
    STEP_MOVED,           /* the signal moved once too often */
    STEP_TO_CONFIRM       /* good, but the signal had moved: asked once more */
};

struct plan_step {
    struct setup setup;
    enum step_outcome outcome;
    double value; /* of the aspect, input units; NAN when overloaded */
};

/* Caller-owned; read `steps` and `step_count`, leave the rest to the functions. */
struct plan {
    struct chain chain;
    size_t step_count;
    struct plan_step steps[PLAN_MAX_STEPS];
    struct signal signal;               /* the latest reading */
    struct extremes known;              /* what the acquisitions so far say for sure */
    double barred[2][CHAIN_MAX_RANGES]; /* by coupling: reach at which the range overloaded */
    struct span explored;               /* union of the windows that overloaded at the top */
    int moves;                          /* acquisitions that only a moving signal explains */
    bool unconfirmed;                   /* the signal moved: what settles must be seen twice */
    double
        beyond; /* a meter, when settled: size at which the next lower range overloads; 0: none */
    bool have_signal;
    bool surprised; /* the last acquisition contradicted what was known */
    enum plan_action action;
    struct setup next;
    enum failure_code failed;
};

/*
 * Begins. `expected` is the signal to be expected at the input (or NULL): the
 * plan then starts with the best setup for it, else with the widest one.
 * The chain is copied; what it points to must outlive the plan.
 */
void plan_start(struct plan *plan, const struct chain *chain, const struct signal *expected);

/*
 * As plan_start(), but begins with a given setup, for instance the one that
 * served this point last time.
 *
 * beyond  `beyond` of the plan that settled there, or 0: a signal of that size
 *         is not tried on the next lower range again
 */
void plan_resume(struct plan *plan, const struct chain *chain, const struct setup *setup,
                 double beyond);

/*
 * What to do next. On PLAN_ACQUIRE `*setup` is filled in; report the outcome
 * before calling again. On PLAN_FAILED `failure` says why: over range,
 * unstable, or rating.
 */
enum plan_action plan_next(struct plan *plan, struct setup *setup, struct failure *failure);

/* Reports what was seen in the setup handed out last. */
void plan_reading(struct plan *plan, const struct signal *signal);

/* Reports that the setup handed out last was overloaded, clipped or off the screen. */
void plan_overload(struct plan *plan, enum side side);

/* "settled", "poor resolution", "overload", "moved",
 * "to be confirmed", "pending". */
const char *step_outcome_name(enum step_outcome outcome);

#endif
