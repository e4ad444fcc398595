/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "budget.h"

#include "core/basics/sum.h"

#include <gsl/gsl_cdf.h>
#include <math.h>
#include <string.h>

/* Upper tail of the normal distribution beyond two sigma, (1 - 0.954499736...) / 2. */
static const double tail_beyond_two_sigma = 0.022750131948179208;

/*
 * Degrees of freedom that are whole by nature come out of the arithmetic a
 * few roundings too low; without this allowance 49 would be cut to 48.
 */
static const double rounding_allowance = 1e-12;

const char *shape_name(enum shape shape)
{
    switch (shape) {
    case SHAPE_RECTANGULAR:
        return "rectangular";
    case SHAPE_TRIANGULAR:
        return "triangular";
    case SHAPE_ARCSINE:
        return "arcsine";
    case SHAPE_BIAS:
        return "bias";
    case SHAPE_NORMAL:
        break;
    }
    return "normal";
}

double shape_standard(enum shape shape, double half_width)
{
    switch (shape) {
    case SHAPE_RECTANGULAR:
    case SHAPE_BIAS:
        return half_width / sqrt(3.0);
    case SHAPE_TRIANGULAR:
        return half_width / sqrt(6.0);
    case SHAPE_ARCSINE:
        return half_width / sqrt(2.0);
    case SHAPE_NORMAL:
        break;
    }
    return half_width;
}

/* Copies as much as fits, never half a UTF-8 character. */
static void copy_source(char *to, size_t size, const char *from)
{
    size_t length = strlen(from);
    if (length >= size) {
        length = size - 1;
        while (length > 0 && ((unsigned char)from[length] & 0xC0U) == 0x80U)
            length--;
    }
    memcpy(to, from, length);
    to[length] = '\0';
}

bool budget_add(struct budget *budget, const char *source, enum shape shape, double standard,
                double sensitivity, double freedom)
{
    if (!(standard >= 0.0) || !isfinite(standard) || !isfinite(sensitivity) || !(freedom > 0.0)) {
        budget->lacking = true;
        return false;
    }
    if (standard * sensitivity == 0.0)
        return true;
    if (budget->count >= BUDGET_MAX_TERMS) {
        budget->lacking = true;
        return false;
    }
    struct contribution *term = &budget->terms[budget->count++];
    copy_source(term->source, sizeof(term->source), source);
    term->standard = standard;
    term->sensitivity = sensitivity;
    term->freedom = freedom;
    term->shape = shape;
    return true;
}

double budget_combined(const struct budget *budget)
{
    double combined = budget->lacking ? NAN : 0.0;
    for (size_t i = 0; i < budget->count; i++)
        combined = hypot(combined, budget->terms[i].standard * budget->terms[i].sensitivity);
    return combined;
}

/* nu_eff = u_c^4 / sum(u_i^4 / nu_i), with u_i / u_c so that no power over- or underflows. */
double budget_freedom(const struct budget *budget)
{
    double combined = budget_combined(budget);
    if (combined == 0.0)
        return INFINITY;
    double sum = 0.0;
    for (size_t i = 0; i < budget->count; i++) {
        const struct contribution *term = &budget->terms[i];
        double share = term->standard * term->sensitivity / combined;
        double square = share * share;
        sum += square * square / term->freedom;
    }
    if (sum == 0.0)
        return INFINITY;
    return 1.0 / sum;
}

/* Two passes: by subtracting a sum of squares, a small spread on a large mean would be lost. */
double coverage_factor(double freedom)
{
    double whole = floor(freedom * (1.0 + rounding_allowance));
    if (!(whole >= 1.0))
        return NAN;
    if (isinf(whole))
        return 2.0;
    return gsl_cdf_tdist_Qinv(tail_beyond_two_sigma, whole);
}

bool type_a(const double *readings, size_t n, double *mean, double *standard_of_mean)
{
    if (n < 2)
        return false;
    double count = (double)n;
    struct sum sum = { 0.0, 0.0 };
    for (size_t i = 0; i < n; i++)
        sum_add(&sum, readings[i]);
    double average = sum_value(&sum) / count;
    struct sum squares = { 0.0, 0.0 };
    for (size_t i = 0; i < n; i++) {
        double deviation = readings[i] - average;
        sum_add(&squares, deviation * deviation);
    }
    double standard = sqrt(sum_value(&squares) / (count - 1.0) / count);
    if (!isfinite(average) || !isfinite(standard))
        return false;
    *mean = average;
    *standard_of_mean = standard;
    return true;
}
