/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What a point's settings make of its way to the instrument, for core/. */
#ifndef GRADUS_DAEMON_POINT_CHAIN_H
#define GRADUS_DAEMON_POINT_CHAIN_H

#include "bench.h"
#include "core/input/chain.h"

/* The chain of a point at its instrument; pointers into the bench. False: it cannot measure it. */
bool point_chain(const struct bench *bench, const struct bench_point *point, struct chain *chain,
                 struct failure *failure);

/*
 * The signal to be expected at the input from the point's settings, for
 * planning. False where nothing is expected.
 */
bool point_expected(const struct bench *bench, const struct bench_point *point,
                    const struct chain *chain, struct signal *signal);

#endif
