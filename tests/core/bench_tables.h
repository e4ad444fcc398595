/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Two invented front ends for the planner's tests: a 5½-digit meter with
 * ranges a decade apart, and an 8-bit scope of eight divisions in 1-2-5 steps
 * (common practice, no source). The figures are of the usual size for such
 * instruments and belong to no real one.
 */
#ifndef GRADUS_TESTS_BENCH_TABLES_H
#define GRADUS_TESTS_BENCH_TABLES_H

#include "core/input/chain.h"

enum { METER_RANGES = 5, SCOPE_RANGES = 13 };

struct bench_table {
    struct range ranges[CHAIN_MAX_RANGES];
    struct front_end input;
    struct probe probe;
    struct chain chain;
};

/* DC volts: 0.2, 2, 20, 200, 1000 V; 10 GΩ on the lower two ranges, 10 MΩ above. */
void meter_table(struct bench_table *table);

/*
 * 1 mV to 10 V per division, gain within 3 % of the deflection, the trace can
 * be moved over the whole screen, the zero trace is subtracted.
 */
void scope_table(struct bench_table *table);

/* The same scope with a calibrated offset within 1 %, and ac coupling from 5 Hz. */
void offset_scope_table(struct bench_table *table);

#endif
