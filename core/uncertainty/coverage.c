/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "coverage.h"

#include "distribution.h"

#include <gsl/gsl_cdf.h>
#include <math.h>

/* Two sigma of the normal law, both sides. */
static const double fraction = 0.95449973610364158;

static const double special_kurtosis = -0.4;
static const double special_bias = 0.1;

/* Bounded terms below this share of the whole are taken as normal; beside the sharp edge */
static const double small_share = 0.1;
static const double small_beside_arcsine = 0.03; /* of an arcsine law less is visible. */

/* A Student term below this share of the rest is taken as a normal one with its two-sigma width. */
static const double small_student = 0.2;

/* The budget sorted by what it takes to convolve it. */
struct sorted {
    double standard; /* of R and T together */
    double bias;
    double student; /* s, and its degrees of freedom, a whole number */
    double freedom;
    struct parts parts; /* R */
};

static double width_of(const struct contribution *term)
{
    return fabs(term->standard * term->sensitivity);
}

/* Excess kurtosis of the laws, where the terms are independent adding by fourth powers. */
static double excess(enum shape shape)
{
    switch (shape) {
    case SHAPE_RECTANGULAR:
        return -1.2;
    case SHAPE_TRIANGULAR:
        return -0.6;
    case SHAPE_ARCSINE:
        return -1.5;
    case SHAPE_BIAS:
    case SHAPE_NORMAL:
        break;
    }
    return 0.0;
}

/* The biases to the side where they come to more: they do not help against each other. */
static double bias_of(const struct budget *budget)
{
    double up = 0.0;
    double down = 0.0;
    for (size_t i = 0; i < budget->count; i++) {
        const struct contribution *term = &budget->terms[i];
        double bound = term->standard * term->sensitivity / shape_standard(SHAPE_BIAS, 1.0);
        if (term->shape == SHAPE_BIAS) {
            up += fmax(0.0, bound);
            down += fmax(0.0, -bound);
        }
    }
    return fmax(up, down);
}

bool coverage_is_special(const struct budget *budget)
{
    double combined = budget_combined(budget);
    double kurtosis = 0.0;
    for (size_t i = 0; i < budget->count; i++) {
        const struct contribution *term = &budget->terms[i];
        double share = width_of(term) / combined;
        if (isinf(term->freedom))
            kurtosis += excess(term->shape) * share * share * share * share;
    }
    return kurtosis < special_kurtosis || bias_of(budget) > special_bias * combined;
}

/* Half-width of a bounded law to its standard uncertainty, the inverse of shape_standard(). */
static struct part part_of(enum shape shape, double width)
{
    static const enum law laws[] = {
        [SHAPE_RECTANGULAR] = LAW_RECTANGULAR,
        [SHAPE_TRIANGULAR] = LAW_TRIANGULAR,
        [SHAPE_ARCSINE] = LAW_ARCSINE,
    };
    return (struct part) { laws[shape], width / shape_standard(shape, 1.0) };
}

static void sort_term(struct sorted *sorted, const struct contribution *term, double limit)
{
    double width = width_of(term);
    bool bounded = term->shape != SHAPE_NORMAL && width >= limit;
    if (bounded && sorted->parts.count < DISTRIBUTION_MAX_PARTS)
        sorted->parts.bounded[sorted->parts.count++] = part_of(term->shape, width);
    else
        sorted->parts.variance += width * width;
}

/* False where the Student terms have less than one degree of freedom together. */
static bool sort(const struct budget *budget, struct sorted *sorted)
{
    struct budget rest = { .count = 0 };
    struct budget student = { .count = 0 };
    bool edged = false;
    *sorted = (struct sorted) { .bias = bias_of(budget) };
    for (size_t i = 0; i < budget->count; i++) {
        const struct contribution *term = &budget->terms[i];
        if (term->shape == SHAPE_BIAS)
            continue;
        edged = edged || term->shape == SHAPE_ARCSINE;
        if (isinf(term->freedom))
            rest.terms[rest.count++] = *term;
        else
            student.terms[student.count++] = *term;
    }
    sorted->student = budget_combined(&student);
    sorted->freedom = budget_freedom(&student);
    sorted->standard = hypot(sorted->student, budget_combined(&rest));
    double limit = (edged ? small_beside_arcsine : small_share) * sorted->standard;
    for (size_t i = 0; i < rest.count; i++)
        sort_term(sorted, &rest.terms[i], limit);
    return student.count == 0 || !isnan(coverage_factor(sorted->freedom));
}

/* R in cells, where T is beside it. */
static void cut(struct coverage_law *law)
{
    law->width = 2.0 * law->series.reach / COVERAGE_CELLS;
    law->first = -law->series.reach + law->width / 2.0;
    double before = 0.0;
    for (size_t i = 0; i < COVERAGE_CELLS; i++) {
        double edge = -law->series.reach + (double)(i + 1) * law->width;
        double below = distribution_below(&law->series, edge);
        law->shares[i] = below - before;
        before = below;
    }
}

static double beyond_mixed(const struct coverage_law *law, double x)
{
    double sum = 0.0;
    for (size_t i = 0; i < COVERAGE_CELLS; i++) {
        double centre = law->first + (double)i * law->width;
        if (law->shares[i] >= 1e-12)
            sum += law->shares[i] * gsl_cdf_tdist_Q((x - centre) / law->student, law->freedom);
    }
    return sum;
}

/* Nothing but normal errors and Student's t. */
static double beyond_normal(const struct coverage_law *law, double x)
{
    if (law->standard == 0.0)
        return x < 0.0 ? 1.0 : 0.0;
    return isinf(law->freedom) ? gsl_cdf_ugaussian_Q(x / law->standard)
                               : gsl_cdf_tdist_Q(x / law->standard, law->freedom);
}

double coverage_beyond(const struct coverage_law *law, double x)
{
    if (law->normal)
        return beyond_normal(law, x);
    return law->student > 0.0 ? beyond_mixed(law, x) : 1.0 - distribution_below(&law->series, x);
}

/* The half-width that holds the fraction, by bisection: the probability grows with it. */
static double solve(const struct coverage_law *law, double widest)
{
    double low = 0.0;
    double high = law->bias + widest;
    for (int i = 0; i < 40 && high - low > 1e-9 * high; i++) {
        double middle = low + (high - low) / 2.0;
        double outside =
            coverage_beyond(law, middle - law->bias) + coverage_beyond(law, middle + law->bias);
        if (1.0 - outside < fraction)
            low = middle;
        else
            high = middle;
    }
    return high;
}

/*
 * One bounded law and nothing else (own derivation: the law integrated; EA-4/02
 * S9 and S10 use the first and the last).
 */
static double alone(const struct part *part)
{
    switch (part->law) {
    case LAW_TRIANGULAR:
        return part->half_width * (1.0 - sqrt(1.0 - fraction));
    case LAW_ARCSINE:
        return part->half_width * sin(fraction * acos(-1.0) / 2.0);
    case LAW_RECTANGULAR:
        break;
    }
    return part->half_width * fraction;
}

/*
 * Whether one bounded law stands alone. Beside an arcsine law, whose density
 * has no bound at its edge, crumbs that the series cannot tell from its own
 * narrow normal error count as nothing, and are added linearly.
 */
static bool stands_alone(const struct sorted *sorted, double crumbs)
{
    if (sorted->parts.count != 1 || sorted->bias > 0.0)
        return false;
    return crumbs == 0.0 || (sorted->parts.bounded[0].law == LAW_ARCSINE &&
                             crumbs < 2.0 * DISTRIBUTION_NORMAL * sorted->standard);
}

/* Of R + s T by Welch-Satterthwaite, JCGM 100 (G.2b), in whole degrees as coverage_factor(). */
static double effective_freedom(const struct sorted *sorted)
{
    if (sorted->student == 0.0)
        return INFINITY;
    double share = sorted->student / sorted->standard;
    return floor(sorted->freedom / (share * share * share * share) * (1.0 + 1e-9));
}

/* The law with a series in it, T beside it or, where it is small, among the normal errors. */
static void build(struct sorted *sorted, struct coverage_law *law)
{
    double factor = sorted->student > 0.0 ? coverage_factor(sorted->freedom) : 2.0;
    double normal = sorted->student * factor / 2.0;
    law->bias = sorted->bias;
    law->standard = sorted->standard;
    law->freedom = sorted->freedom;
    law->normal = false;
    law->student = normal < small_student * sorted->standard ? 0.0 : sorted->student;
    if (law->student == 0.0)
        sorted->parts.variance += normal * normal;
    distribution_build(&law->series, &sorted->parts, sorted->standard);
    if (law->student > 0.0)
        cut(law);
}

bool coverage_law_make(const struct budget *budget, struct coverage_law *law)
{
    struct sorted sorted;
    if (!sort(budget, &sorted) || !isfinite(sorted.standard + sorted.bias))
        return false;
    if (sorted.parts.count > 0) {
        build(&sorted, law);
        return true;
    }
    law->bias = sorted.bias;
    law->standard = sorted.standard;
    law->freedom = effective_freedom(&sorted);
    law->normal = true;
    return true;
}

double coverage_half_width(const struct budget *budget)
{
    struct sorted sorted;
    struct coverage_law law;
    if (!sort(budget, &sorted) || !isfinite(sorted.standard + sorted.bias) ||
        sorted.standard + sorted.bias == 0.0)
        return NAN;
    if (sorted.standard == 0.0)
        return sorted.bias;
    build(&sorted, &law);
    double crumbs = sqrt(sorted.parts.variance);
    if (law.student == 0.0 && stands_alone(&sorted, crumbs))
        return alone(&sorted.parts.bounded[0]) + 2.0 * crumbs;
    double student = law.student > 0.0 ? 1.5 * coverage_factor(law.freedom) * law.student : 0.0;
    return solve(&law, law.series.reach + student);
}
