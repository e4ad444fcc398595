/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "loading.h"

#include "core/uncertainty/budget.h"

#include <complex.h>
#include <math.h>

static const double two_pi = 6.283185307179586477;

static struct loading not_known(void)
{
    return (struct loading) { false, NAN, NAN, NAN, NAN, NAN };
}

struct loading loading_resistive(const struct source *source, const struct load *load)
{
    /* Written so that NAN makes it not known. An infinite load is a known one. */
    bool valid = source->resistance >= 0.0 && load->resistance > 0.0;
    double x = valid ? source->resistance / load->resistance : NAN;
    if (!isfinite(x))
        return not_known();
    double source_standard = shape_standard(SHAPE_RECTANGULAR, source->tolerance);
    double load_standard = shape_standard(SHAPE_RECTANGULAR, load->tolerance);
    double share = x / (1.0 + x);
    /* u(1 + x) / (1 + x), where u(x) = x hypot(u(Rs) / Rs, u(Rin) / Rin): JCGM 100 5.1.2, 5.1.6. */
    double uncertainty = x == 0.0 ? 0.0 : share * hypot(source_standard, load_standard);
    return (struct loading) {
        .known = true,
        .frequency = 0.0,
        .ratio = 1.0 / (1.0 + x),
        .relative = 0.0 - share,
        .factor = 1.0 + x,
        .uncertainty = uncertainty,
    };
}

static bool capacitances_known(const struct source *source, const struct load *load)
{
    return source->capacitance >= 0.0 && isfinite(source->capacitance) &&
           source->capacitance_tolerance >= 0.0 && load->capacitance >= 0.0 &&
           isfinite(load->capacitance) && load->capacitance_tolerance >= 0.0;
}

/*
 * With s = jw and the relative changes r of the four values, F = 1 + Zs Yl has
 *     dF / F = [ Zs Yl / (1 + s Rs Cs) r(Rs) - s Cs Zs^2 Yl r(Cs)
 *                - Zs / Rl r(Rl) + s Cl Zs r(Cl) ] / F
 * and the relative change of |F| is the real part of it.
 */
static double uncertainty_at(const struct source *source, const struct load *load, double complex s,
                             double complex zs, double complex yl)
{
    double complex f = 1.0 + zs * yl;
    double parts[] = {
        creal(zs * yl / (1.0 + s * source->resistance * source->capacitance) / f) *
            source->tolerance,
        creal(s * source->capacitance * zs * zs * yl / f) * source->capacitance_tolerance,
        creal(zs / load->resistance / f) * load->tolerance,
        creal(s * load->capacitance * zs / f) * load->capacitance_tolerance,
    };
    double sum = 0.0;
    for (int i = 0; i < 4; i++)
        sum = hypot(sum, shape_standard(SHAPE_RECTANGULAR, fabs(parts[i])));
    return sum;
}

struct loading loading_at(const struct source *source, const struct load *load, double frequency)
{
    struct loading loading = loading_resistive(source, load);
    if (!loading.known || !capacitances_known(source, load) || !(frequency >= 0.0) ||
        isinf(frequency))
        return not_known();
    double complex s = I * (two_pi * frequency);
    double complex zs = source->resistance / (1.0 + s * source->resistance * source->capacitance);
    double complex yl = 1.0 / load->resistance + s * load->capacitance;
    double complex x = zs * yl;
    /* |1 + x| - 1 without cancelling: (2 Re x + |x|^2) / (|1 + x| + 1). */
    double factor = cabs(1.0 + x);
    double excess = (2.0 * creal(x) + creal(x * conj(x))) / (factor + 1.0);
    loading.frequency = frequency;
    loading.factor = factor;
    loading.ratio = 1.0 / factor;
    loading.relative = 0.0 - excess / factor;
    loading.uncertainty = uncertainty_at(source, load, s, zs, yl);
    return isfinite(factor) && isfinite(loading.uncertainty) ? loading : not_known();
}
