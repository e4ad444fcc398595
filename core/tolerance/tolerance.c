/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Which interval the values allow, those without a distribution, and whether they look normal. */
#include "tolerance.h"

#include <gsl/gsl_cdf.h>
#include <math.h>

const double tolerance_normality_most = 0.752;

/* Beyond this many no claim of use is left; it ends the search. */
enum { UNITS_MOST = 1000000 };

/* Confidence that what `gaps` of n + 1 gaps between values leave out is no more than 1 - coverage. */
static double free_confidence(size_t n, size_t gaps, double coverage)
{
    return gsl_cdf_beta_Q(coverage, (double)(n + 1 - gaps), (double)gaps);
}

static size_t least_gaps(enum tolerance_sides sides)
{
    return sides == TOLERANCE_TWO_SIDED ? 2 : 1;
}

size_t tolerance_gaps(size_t n, struct tolerance_claim claim, enum tolerance_sides sides)
{
    size_t gaps = least_gaps(sides);
    if (n < gaps || !(free_confidence(n, gaps, claim.coverage) >= claim.confidence))
        return 0;
    while (gaps < n && free_confidence(n, gaps + 1, claim.coverage) >= claim.confidence)
        gaps++;
    return gaps;
}

size_t tolerance_least(struct tolerance_claim claim, enum tolerance_sides sides)
{
    size_t low = 1, high = UNITS_MOST;
    if (!(claim.coverage > 0 && claim.coverage < 1 && claim.confidence > 0 &&
          claim.confidence < 1) ||
        tolerance_gaps(high, claim, sides) == 0)
        return 0;
    while (high - low > 1) {
        size_t middle = low + (high - low) / 2;
        if (tolerance_gaps(middle, claim, sides) == 0)
            low = middle;
        else
            high = middle;
    }
    return tolerance_gaps(low, claim, sides) != 0 ? low : high;
}

static double mean_of(const double *values, size_t n)
{
    double sum = 0;
    for (size_t i = 0; i < n; i++)
        sum += (values[i] - values[0]) / (double)n;
    return values[0] + sum;
}

static double deviation_of(const double *values, size_t n, double mean)
{
    double squares = 0;
    for (size_t i = 0; i < n; i++)
        squares += (values[i] - mean) * (values[i] - mean);
    return sqrt(squares / ((double)n - 1));
}

/* ln of the normal distribution's share below x, also where that is next to nothing. */
static double log_below(double x)
{
    static const double far = -30; /* there Q(x) / x is good to 1e-3 of itself, and A² is huge */
    return x > far ? log(gsl_cdf_ugaussian_P(x)) : -x * x / 2 - log(-x * sqrt(2 * M_PI));
}

double tolerance_normality(const double *sorted, size_t n)
{
    if (n < TOLERANCE_LEAST || !(sorted[n - 1] > sorted[0]))
        return NAN;
    double mean = mean_of(sorted, n), deviation = deviation_of(sorted, n, mean), sum = 0;
    for (size_t i = 0; i < n; i++) {
        double from_below = (sorted[i] - mean) / deviation;
        double from_above = (mean - sorted[n - 1 - i]) / deviation;
        sum += (2 * (double)i + 1) * (log_below(from_below) + log_below(from_above));
    }
    double count = (double)n;
    double statistic = -count - sum / count;
    return statistic * (1 + 0.75 / count + 2.25 / (count * count));
}

static void make_normal(size_t n, struct tolerance_claim claim, enum tolerance_sides sides,
                        struct tolerance *tolerance)
{
    tolerance->kind = TOLERANCE_NORMAL;
    tolerance->factor = sides == TOLERANCE_TWO_SIDED ? tolerance_factor_two_sided(n, claim)
                                                     : tolerance_factor_one_sided(n, claim);
    tolerance->low = tolerance->mean - tolerance->factor * tolerance->deviation;
    tolerance->high = tolerance->mean + tolerance->factor * tolerance->deviation;
}

static void make_free(const double *sorted, size_t n, size_t gaps, enum tolerance_sides sides,
                      struct tolerance *tolerance)
{
    size_t below = sides == TOLERANCE_TWO_SIDED ? gaps / 2 : gaps;
    size_t above = sides == TOLERANCE_TWO_SIDED ? gaps - below : gaps;
    tolerance->kind = TOLERANCE_FREE;
    tolerance->low = sorted[below - 1];
    tolerance->high = sorted[n - above];
}

void tolerance_make(const double *sorted, size_t n, struct tolerance_claim claim,
                    enum tolerance_sides sides, struct tolerance *tolerance)
{
    *tolerance = (struct tolerance) { .kind = TOLERANCE_TOO_FEW,
                                      .units = n,
                                      .mean = n > 0 ? mean_of(sorted, n) : (double)NAN,
                                      .deviation = NAN,
                                      .normality = tolerance_normality(sorted, n),
                                      .factor = NAN,
                                      .low = NAN,
                                      .high = NAN };
    if (n > 1)
        tolerance->deviation = deviation_of(sorted, n, tolerance->mean);
    if (n < TOLERANCE_LEAST) {
        tolerance->needed = TOLERANCE_LEAST;
        return;
    }
    size_t gaps = tolerance_gaps(n, claim, sides);
    bool odd = tolerance->normality > tolerance_normality_most;
    if (!odd) {
        make_normal(n, claim, sides, tolerance);
    } else if (gaps > 0) {
        make_free(sorted, n, gaps, sides, tolerance);
    } else {
        tolerance->kind = TOLERANCE_ODD;
        tolerance->needed = tolerance_least(claim, sides);
        return;
    }
    if (sides == TOLERANCE_UPPER)
        tolerance->low = -INFINITY;
    if (sides == TOLERANCE_LOWER)
        tolerance->high = INFINITY;
}
