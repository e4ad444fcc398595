/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "foresee.h"

#include "core/range/setups.h"
#include "daemon/bench/point_chain.h"

#include <math.h>

bool foresee(const struct bench *bench, const struct bench_point *point, double *standard)
{
    struct chain chain;
    struct signal signal;
    struct weighed all[SETUPS_MOST];
    struct weighed best = { .standard = INFINITY };
    *standard = NAN;
    if (bench->instruments[point->instrument].profile == NULL)
        return true;
    if (!point_chain(bench, point, &chain, NULL))
        return false;
    if (!point_expected(bench, point, &chain, &signal))
        return true;
    struct extremes extremes = { { signal.low, signal.high },
                                 { signal.low - signal.mean, signal.high - signal.mean },
                                 false,
                                 0 };
    size_t n = setups_weigh(&chain, &signal, &extremes, all, sizeof all / sizeof *all);
    for (size_t i = 0; i < n; i++)
        if (weighed_beats(&all[i], &best))
            best = all[i];
    if (best.fits)
        *standard = best.standard;
    return best.fits;
}
