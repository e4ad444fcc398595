/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Which of the probes at hand would load a point least and still resolve the signal. */
#ifndef GRADUS_CORE_PROBE_CHOICE_H
#define GRADUS_CORE_PROBE_CHOICE_H

#include "core/input/chain.h"

/*
 * The probe with the least loading at this signal, among those that fit the
 * instrument's input on all ranges, have the dimension and aspect of the
 * present one, bear its peak, reach its frequency and whose finest range that
 * holds the signal has a step smaller than what the present loading takes
 * away. Returns the index into `probes`, or `count` when none loads less than
 * the present one.
 *
 * chain, setup, signal   as the point was measured with its present probe
 */
size_t probe_with_least_loading(const struct chain *chain, const struct setup *setup,
                                const struct signal *signal, const struct probe *probes,
                                size_t count);

#endif
