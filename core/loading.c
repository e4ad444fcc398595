/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "loading.h"

#include "budget.h"

#include <math.h>

struct loading loading_resistive(const struct source *source, const struct load *load)
{
    /* Written so that NAN makes it not known. An infinite load is a known one. */
    bool valid = source->resistance >= 0.0 && load->resistance > 0.0;
    double x = valid ? source->resistance / load->resistance : NAN;
    if (!isfinite(x)) {
        return (struct loading) { false, NAN, NAN, NAN, NAN };
    }
    double source_standard = shape_standard(SHAPE_RECTANGULAR, source->tolerance);
    double load_standard = shape_standard(SHAPE_RECTANGULAR, load->tolerance);
    double share = x / (1.0 + x);
    /* u(1 + x) / (1 + x), where u(x) = x hypot(u(Rs) / Rs, u(Rin) / Rin): M42, note. */
    double uncertainty = x == 0.0 ? 0.0 : share * hypot(source_standard, load_standard);
    return (struct loading) {
        .known = true,
        .ratio = 1.0 / (1.0 + x),
        .relative = 0.0 - share,
        .factor = 1.0 + x,
        .uncertainty = uncertainty,
    };
}
