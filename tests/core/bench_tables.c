/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "bench_tables.h"

#include <math.h>
#include <string.h>

static void connect_table(struct bench_table *table, size_t count)
{
    table->input.count = count;
    table->input.ranges = table->ranges;
    table->probe = probe_direct();
    table->chain = (struct chain) { .input = &table->input,
                                    .probe = &table->probe,
                                    .aspect = ASPECT_DC,
                                    .source = { .resistance = NAN },
                                    .ambient = 23,
                                    .crest_factor = NAN,
                                    .lowest_frequency = NAN,
                                    .frequency = NAN,
                                    .abilities = abilities_unknown() };
}

void meter_table(struct bench_table *table)
{
    static const double rows[METER_RANGES][5] = {
        /* full scale, resolution, of reading, of range, input resistance */
        { 0.2, 1e-6, 80e-6, 40e-6, 10e9 },  { 2, 1e-5, 60e-6, 10e-6, 10e9 },
        { 20, 1e-4, 80e-6, 10e-6, 10e6 },   { 200, 1e-3, 90e-6, 10e-6, 10e6 },
        { 1000, 1e-2, 100e-6, 6e-6, 10e6 },
    };
    memset(table, 0, sizeof *table);
    for (size_t i = 0; i < METER_RANGES; i++) {
        struct range *range = &table->ranges[i];
        range->full_scale = range->high = rows[i][0];
        range->low = -range->high;
        range->resolution = rows[i][1];
        range->accuracy.reading = rows[i][2];
        range->accuracy.range = rows[i][3];
        range->accuracy.temperature_low = 18;
        range->accuracy.temperature_high = 28;
        range->input_resistance = rows[i][4];
        range->resistance_tolerance = 0.01;
        range->input_capacitance = range->peak = NAN;
    }
    connect_table(table, METER_RANGES);
}

void scope_table(struct bench_table *table)
{
    static const double steps[SCOPE_RANGES] = { 1e-3, 2e-3, 5e-3, 1e-2, 2e-2, 5e-2, 0.1,
                                                0.2,  0.5,  1,    2,    5,    10 };
    memset(table, 0, sizeof *table);
    for (size_t i = 0; i < SCOPE_RANGES; i++) {
        struct range *range = &table->ranges[i];
        range->volts_per_division = steps[i];
        range->full_scale = 8 * steps[i];
        range->resolution = range->full_scale / 256;
        range->low = -4 * steps[i];
        range->high = 4 * steps[i];
        range->accuracy.reading = 0.03;
        range->accuracy.temperature_high = 100;
        range->input_resistance = 1e6;
        range->resistance_tolerance = 0.01;
        range->input_capacitance = 20e-12;
        range->peak = NAN;
    }
    connect_table(table, SCOPE_RANGES);
    table->input.vertical = true;
    table->input.divisions = 8;
    table->input.position_divisions = 4;
    table->input.ground_reference = true;
}

void offset_scope_table(struct bench_table *table)
{
    scope_table(table);
    for (size_t i = 0; i < SCOPE_RANGES; i++) {
        double step = table->ranges[i].volts_per_division;
        table->ranges[i].offset_span = step <= 0.02 ? 0.8 : step <= 0.2 ? 6 : 80;
    }
    table->input.position_divisions = 0;
    table->input.offset_fraction = 0.01;
    table->input.ac_coupling = true;
    table->input.ac_corner = 5;
}
