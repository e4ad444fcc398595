/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The specifications of the bench's two meters, as their invented makers would print them. */
#include "meter.h"

#define PERCENT    0.01
#define GIGA_OHM   10e9
#define MEGA_OHM   1e6
#define TEN_MEGOHM 10e6
#define HIGH_INPUT GIGA_OHM, 10.0 * PERCENT
#define DC_INPUT   TEN_MEGOHM, 1.0 * PERCENT
#define AC_INPUT   MEGA_OHM, 0.0
#define NO_INPUT   0.0, 0.0

/* 5 1/2 digits: full scale, count, % of reading, % of range as volts, input. */
const struct meter_type meter_tarnwerk = {
    .average_responding = false,
    .crest = 3.0,
    .functions =
        {
            [METER_DC_VOLTAGE] = {5,
                                  {{0.2, 1e-6, 0.008 * PERCENT, 0.004 * PERCENT * 0.2, HIGH_INPUT},
                                   {2.0, 1e-5, 0.006 * PERCENT, 0.001 * PERCENT * 2.0, HIGH_INPUT},
                                   {20.0, 1e-4, 0.008 * PERCENT, 0.001 * PERCENT * 20.0, DC_INPUT},
                                   {200.0, 1e-3, 0.009 * PERCENT, 0.001 * PERCENT * 200.0,
                                    DC_INPUT},
                                   {1000.0, 1e-2, 0.01 * PERCENT, 0.0006 * PERCENT * 1000.0,
                                    DC_INPUT}}},
            [METER_AC_VOLTAGE] = {5,
                                  {{0.2, 1e-6, 0.3 * PERCENT, 0.05 * PERCENT * 0.2, AC_INPUT},
                                   {2.0, 1e-5, 0.3 * PERCENT, 0.05 * PERCENT * 2.0, AC_INPUT},
                                   {20.0, 1e-4, 0.3 * PERCENT, 0.05 * PERCENT * 20.0, AC_INPUT},
                                   {200.0, 1e-3, 0.3 * PERCENT, 0.05 * PERCENT * 200.0, AC_INPUT},
                                   {750.0, 1e-2, 0.3 * PERCENT, 0.05 * PERCENT * 750.0, AC_INPUT}}},
            [METER_DC_CURRENT] = {3,
                                  {{0.02, 1e-7, 0.05 * PERCENT, 0.01 * PERCENT * 0.02, NO_INPUT},
                                   {0.2, 1e-6, 0.05 * PERCENT, 0.01 * PERCENT * 0.2, NO_INPUT},
                                   {2.0, 1e-5, 0.05 * PERCENT, 0.01 * PERCENT * 2.0, NO_INPUT}}},
            [METER_RESISTANCE] = {6,
                                  {{200.0, 1e-3, 0.02 * PERCENT, 0.005 * PERCENT * 200.0, NO_INPUT},
                                   {2e3, 1e-2, 0.02 * PERCENT, 0.005 * PERCENT * 2e3, NO_INPUT},
                                   {20e3, 1e-1, 0.02 * PERCENT, 0.005 * PERCENT * 20e3, NO_INPUT},
                                   {200e3, 1.0, 0.02 * PERCENT, 0.005 * PERCENT * 200e3, NO_INPUT},
                                   {2e6, 10.0, 0.02 * PERCENT, 0.005 * PERCENT * 2e6, NO_INPUT},
                                   {20e6, 100.0, 0.5 * PERCENT, 0.01 * PERCENT * 20e6, NO_INPUT}}},
            [METER_FOUR_WIRE] = {6,
                                  {{200.0, 1e-3, 0.02 * PERCENT, 0.005 * PERCENT * 200.0, NO_INPUT},
                                   {2e3, 1e-2, 0.02 * PERCENT, 0.005 * PERCENT * 2e3, NO_INPUT},
                                   {20e3, 1e-1, 0.02 * PERCENT, 0.005 * PERCENT * 20e3, NO_INPUT},
                                   {200e3, 1.0, 0.02 * PERCENT, 0.005 * PERCENT * 200e3, NO_INPUT},
                                   {2e6, 10.0, 0.02 * PERCENT, 0.005 * PERCENT * 2e6, NO_INPUT},
                                   {20e6, 100.0, 0.5 * PERCENT, 0.01 * PERCENT * 20e6, NO_INPUT}}},
            [METER_FREQUENCY] = {1, {{250e3, 1e-3, 0.01 * PERCENT, 1e-3, AC_INPUT}}},
        },
};

/* 4 1/2 digits: full scale, count, % of reading, counts as volts, input. */
const struct meter_type meter_oldmere = {
    .average_responding = true,
    .crest = 3.0,
    .functions =
        {
            [METER_DC_VOLTAGE] = {5,
                                  {{0.2, 1e-5, 0.03 * PERCENT, 2e-5, DC_INPUT},
                                   {2.0, 1e-4, 0.03 * PERCENT, 2e-4, DC_INPUT},
                                   {20.0, 1e-3, 0.03 * PERCENT, 2e-3, DC_INPUT},
                                   {200.0, 1e-2, 0.03 * PERCENT, 2e-2, DC_INPUT},
                                   {1000.0, 1e-1, 0.03 * PERCENT, 2e-1, DC_INPUT}}},
            [METER_AC_VOLTAGE] = {5,
                                  {{0.2, 1e-5, 0.8 * PERCENT, 10e-5, DC_INPUT},
                                   {2.0, 1e-4, 0.8 * PERCENT, 10e-4, DC_INPUT},
                                   {20.0, 1e-3, 0.8 * PERCENT, 10e-3, DC_INPUT},
                                   {200.0, 1e-2, 0.8 * PERCENT, 10e-2, DC_INPUT},
                                   {750.0, 1e-1, 0.8 * PERCENT, 10e-1, DC_INPUT}}},
            [METER_DC_CURRENT] = {3,
                                  {{0.02, 1e-6, 0.3 * PERCENT, 2e-6, NO_INPUT},
                                   {0.2, 1e-5, 0.3 * PERCENT, 2e-5, NO_INPUT},
                                   {2.0, 1e-4, 0.3 * PERCENT, 2e-4, NO_INPUT}}},
            [METER_RESISTANCE] = {5,
                                  {{200.0, 1e-2, 0.1 * PERCENT, 2e-2, NO_INPUT},
                                   {2e3, 1e-1, 0.1 * PERCENT, 2e-1, NO_INPUT},
                                   {20e3, 1.0, 0.1 * PERCENT, 2.0, NO_INPUT},
                                   {200e3, 10.0, 0.1 * PERCENT, 20.0, NO_INPUT},
                                   {2e6, 100.0, 0.1 * PERCENT, 200.0, NO_INPUT}}},
            [METER_FREQUENCY] = {1, {{20e3, 1.0, 0.05 * PERCENT, 1.0, DC_INPUT}}},
        },
};
