/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * What a burn-in makes of the readings of one point: failures in a row, how
 * far it has moved, how near it came to a limit, and whether it trips. Pure:
 * the same readings in the same order give the same state, so that a restart
 * rebuilds it from the store.
 *
 * A failure is a reading beyond a limit (`fail` or `conditional fail`), one
 * that moved further than it may from the mean of the first ones (of which a failure is none;
 * where their scatter leaves it open, that verdict is conditional), one of a check standard that
 * is out of its control chart, and a signal beyond every range. A
 * measurement that came to no reading for another reason says nothing about
 * the unit: it neither counts as a failure nor ends a row of them, but is
 * counted by itself.
 */
#ifndef GRADUS_DAEMON_BURNIN_JUDGE_H
#define GRADUS_DAEMON_BURNIN_JUDGE_H

#include "core/course/control_chart.h"
#include "daemon/bench/bench.h"

#include <stdint.h>

enum burnin_cause {
    BURNIN_WELL,
    BURNIN_LIMIT,
    BURNIN_DRIFT,
    BURNIN_OVER_RANGE,
    BURNIN_LOST,
    BURNIN_CONTROL /* a check standard is out of control */
};

/* What a measurement came to. */
struct burnin_outcome {
    int64_t round;
    enum failure_code failure; /* FAILURE_NONE: there is a value */
    double value;              /* at the tip */
    double judged;             /* what the limits hold for: the value, or its comparison */
    double step;               /* of the display at the tip, in the value's unit; 0: not known */
    enum verdict verdict;
    bool warm_up; /* it only tells how the unit is doing */
};

/* What is asked of a point. */
struct burnin_demands {
    const struct limits *limits; /* of the phase */
    struct bench_drift drift;
    struct burnin_rules rules;
};

/* All that is known of a point; begin with burnin_state_new(). */
struct burnin_state {
    double first; /* what it is compared with: the mean of the first readings; NAN: none yet */
    struct control_chart chart; /* of a check standard */
    struct baseline baseline;   /* these readings */
    enum verdict drift;         /* on how far the last reading has moved; none without a bound */
    enum verdict drift_worst;   /* after warm-up */
    bool dead;                  /* the last reading is next to nothing, where there must be much */
    double last;                /* NAN: none yet */
    double margin;       /* of the last reading: 1 in the middle, 0 at the limit; NAN: none */
    double worst;        /* smallest margin after warm-up; NAN: none */
    int64_t worst_round; /* when that was */
    int64_t readings;    /* with a value */
    int64_t failures;    /* after warm-up */
    int64_t lost;        /* without a reading, not for being beyond every range */
    int failed_in_row;
    int lost_in_row;
    enum burnin_cause cause; /* of the last outcome */
    enum burnin_cause trip;  /* BURNIN_WELL: it has not tripped */
    int64_t trip_round;
};

/* Nothing is known yet. */
struct burnin_state burnin_state_new(void);

/*
 * How far a figure is from the nearest limit: of two limits, as a share of
 * half the width between them; of one, of the limit's size. Negative beyond,
 * NAN without limits.
 */
double burnin_margin(const struct limits *limits, double value);

/*
 * Whether a figure is next to nothing where limits ask for much: within a hundredth of the
 * limit that is nearer to zero, and zero lies outside (own choice). So reads what is dead, or
 * not there.
 */
bool burnin_is_dead(const struct limits *limits, double value);

/* How far a point may move from what it is compared with, and that; false: as far as it likes. */
bool burnin_drift_band(const struct burnin_state *state, const struct bench_drift *drift,
                       double *reference, double *bound);

/* Takes an outcome in. True when the point trips by it; it trips once only. */
bool burnin_judge(struct burnin_state *state, const struct burnin_demands *demands,
                  const struct burnin_outcome *outcome);

/* "within limits", "limit", "drift", "over range", "not measured", "check standard". */
const char *burnin_cause_name(enum burnin_cause cause);

#endif
