/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Tolerance intervals: from n good units, bounds between which a stated share of all
 * such units lies, with a stated confidence (ISO 16269-6). Normal ones are mean ± factor times
 * standard deviation; those without a distribution are two of the values themselves.
 */
#ifndef GRADUS_CORE_TOLERANCE_H
#define GRADUS_CORE_TOLERANCE_H

#include <stdbool.h>
#include <stddef.h>

/* Fewer units show neither spread nor shape: the normality test begins there (see tolerance_normality). */
enum { TOLERANCE_LEAST = 8 };

/* What of all units, and how surely; both above 0 and below 1. */
struct tolerance_claim {
    double coverage;
    double confidence;
};

enum tolerance_sides { TOLERANCE_TWO_SIDED, TOLERANCE_UPPER, TOLERANCE_LOWER };

/*
 * The factor of a two-sided normal interval of n >= 2 values, mean and deviation unknown: k with
 *
 *     integral of P(chi2(n - 1) > (n - 1) r(z)² / k²) dN(z / sqrt(n)) = confidence
 *     Phi(z / sqrt(n) + r) - Phi(z / sqrt(n) - r) = coverage
 *
 * (exact; S. Krishnamoorthy, T. Mathew, Statistical Tolerance Regions, Wiley 2009, eq. 1.2.4, from
 * memory; checked against ISO 16269-6:2014, annex F). NAN where n or the claim is none.
 */
double tolerance_factor_two_sided(size_t n, struct tolerance_claim claim);

/*
 * The factor of a one-sided normal interval: t'(confidence; n - 1, z(coverage) sqrt(n)) / sqrt(n)
 * with Student's non-central t (the same, eq. 1.2.3). By its definition:
 * P((Z + z sqrt(n)) / sqrt(chi2 / (n - 1)) <= k sqrt(n)) = confidence. NAN as above.
 */
double tolerance_factor_one_sided(size_t n, struct tolerance_claim claim);

/*
 * How many of n sorted values an interval without a distribution may leave outside, both ends
 * together: with 1 outside the interval goes from an end to the values but one, so a two-sided
 * one has 2 at least, the smallest and the largest being its ends (S. S. Wilks, Annals of
 * Mathematical Statistics 12 (1941) 91, from memory; the interval that leaves out m of n + 1 gaps covers
 * Beta(n + 1 - m, m)). 0: there are too few values for the claim.
 */
size_t tolerance_gaps(size_t n, struct tolerance_claim claim, enum tolerance_sides sides);

/* The least number of values that such an interval needs; 0 for a claim that is none. */
size_t tolerance_least(struct tolerance_claim claim, enum tolerance_sides sides);

/*
 * The Anderson-Darling statistic for a normal distribution of unknown mean and deviation, as modified
 * for n: A² (1 + 0.75 / n + 2.25 / n²), for n of at least 8; above 0.752 normality is refuted at 5 %
 * (R. B. D'Agostino, M. A. Stephens, Goodness-of-Fit Techniques, Dekker 1986, table 4.9, from memory).
 * NAN for fewer values, and for values that are all alike.
 *
 * sorted  ascending, finite
 */
double tolerance_normality(const double *sorted, size_t n);
extern const double tolerance_normality_most;

/* How an interval was come by. */
enum tolerance_kind {
    TOLERANCE_NORMAL,
    TOLERANCE_FREE,    /* normality was refuted, and there were values enough */
    TOLERANCE_TOO_FEW, /* fewer than TOLERANCE_LEAST: none */
    TOLERANCE_ODD      /* normality was refuted, and there were too few for anything else: none */
};

struct tolerance {
    enum tolerance_kind kind;
    size_t units;
    size_t needed; /* units in all for TOLERANCE_NORMAL or _FREE, where there are too few; else 0 */
    double mean;   /* NAN without any value */
    double deviation; /* standard, of the sample; NAN for one value */
    double normality; /* as tolerance_normality() */
    double factor;    /* TOLERANCE_NORMAL */
    double low;       /* of what was measured; -INFINITY: no bound on that side; NAN: no interval */
    double high;
};

/*
 * The interval of good units' readings. What is between its bounds was seen with errors, and errors that all
 * have in common do not show in their spread: who makes limits of them moves each bound outwards by
 * the uncertainty, and a reading that is guarded by as much passes exactly inside of the interval.
 *
 * sorted  ascending, finite
 */
void tolerance_make(const double *sorted, size_t n, struct tolerance_claim claim,
                    enum tolerance_sides sides, struct tolerance *tolerance);

#endif
