/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Factors of normal tolerance intervals, by integration and bisection. */
#include "tolerance.h"

#include <gsl/gsl_cdf.h>
#include <gsl/gsl_randist.h>
#include <math.h>

/*
 * Steps of the integrals: the integrands are analytic and fall off like the normal density, so the trapezoidal
 * rule converges faster than any power of the step (L. N. Trefethen, J. A. C. Weideman, SIAM Review 56
 * (2014) 385, from memory).
 */
enum { STEPS = 256, HALVINGS = 100 };
static const double tails = 8.5; /* standard deviations; the rest is below 1e-16 */

static bool is_claim(size_t n, struct tolerance_claim claim)
{
    return n >= 2 && claim.coverage > 0 && claim.coverage < 1 && claim.confidence > 0 &&
           claim.confidence < 1;
}

/* Half the width, in standard deviations, of what around an offset holds the coverage. */
static double half_width(double offset, double coverage)
{
    double low = 0, high = offset + gsl_cdf_ugaussian_Pinv((1 + coverage) / 2) + 1;
    for (int i = 0; i < HALVINGS && high - low > 1e-15 * high; i++) {
        double middle = (low + high) / 2;
        double held = gsl_cdf_ugaussian_P(offset + middle) - gsl_cdf_ugaussian_P(offset - middle);
        if (held < coverage)
            low = middle;
        else
            high = middle;
    }
    return (low + high) / 2;
}

/* One side of the symmetric integral over the mean's error: its nodes do not depend on the factor. */
struct means {
    double widths[STEPS + 1];
    double weights[STEPS + 1];
};

static void lay_out(struct means *means, size_t n, double coverage)
{
    double step = tails / STEPS;
    for (int i = 0; i <= STEPS; i++) {
        double z = i * step;
        means->widths[i] = half_width(z / sqrt((double)n), coverage);
        means->weights[i] = (i == 0 ? 1 : 2) * gsl_ran_ugaussian_pdf(z) * step;
    }
}

static double two_sided_confidence(const struct means *means, double freedom, double factor)
{
    double sum = 0;
    for (int i = 0; i <= STEPS; i++) {
        double ratio = means->widths[i] / factor;
        sum += means->weights[i] * gsl_cdf_chisq_Q(freedom * ratio * ratio, freedom);
    }
    return sum;
}

double tolerance_factor_two_sided(size_t n, struct tolerance_claim claim)
{
    struct means means;
    double low = 0, high = 1;
    if (!is_claim(n, claim))
        return NAN;
    lay_out(&means, n, claim.coverage);
    double freedom = (double)n - 1;
    while (high < 1e12 && two_sided_confidence(&means, freedom, high) < claim.confidence)
        high *= 2;
    for (int i = 0; i < HALVINGS && high - low > 1e-14 * high; i++) {
        double middle = (low + high) / 2;
        if (two_sided_confidence(&means, freedom, middle) < claim.confidence)
            low = middle;
        else
            high = middle;
    }
    return (low + high) / 2;
}

/* P(Z <= k sqrt(n) sqrt(chi2 / freedom) - z sqrt(n)), over the error of the mean. */
static double one_sided_confidence(size_t n, double quantile, double factor)
{
    double freedom = (double)n - 1, root = sqrt((double)n), step = tails / STEPS, sum = 0;
    for (int i = -STEPS; i <= STEPS; i++) {
        double z = i * step;
        double least = (z + quantile * root) / (factor * root);
        double beyond = least > 0 ? gsl_cdf_chisq_Q(freedom * least * least, freedom) : 1;
        sum += gsl_ran_ugaussian_pdf(z) * step * beyond;
    }
    return sum;
}

double tolerance_factor_one_sided(size_t n, struct tolerance_claim claim)
{
    double low = 0, high = 1;
    if (!is_claim(n, claim) || claim.coverage < 0.5 || claim.confidence < 0.5)
        return NAN;
    double quantile = gsl_cdf_ugaussian_Pinv(claim.coverage);
    while (high < 1e12 && one_sided_confidence(n, quantile, high) < claim.confidence)
        high *= 2;
    for (int i = 0; i < HALVINGS && high - low > 1e-14 * high; i++) {
        double middle = (low + high) / 2;
        if (one_sided_confidence(n, quantile, middle) < claim.confidence)
            low = middle;
        else
            high = middle;
    }
    return (low + high) / 2;
}
