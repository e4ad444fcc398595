/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "two_load.h"

#include "core/uncertainty/budget.h"

#include <math.h>

/* Beyond this share of its uncertainty in the denominator, first order is not enough. */
static const double most_in_denominator = 0.1;

/* A source resistance further below zero than this many of its uncertainties is none. */
static const double certainty = 2.0;

static bool known(const struct loaded_reading *reading)
{
    return isfinite(reading->value) && reading->standard >= 0.0 && isfinite(reading->standard) &&
           reading->load.resistance > 0.0 && reading->load.tolerance >= 0.0 &&
           isfinite(reading->load.tolerance);
}

/* u(g) of g = 1 / R with a rectangular bound on R. */
static double conductance_standard(const struct load *load)
{
    return shape_standard(SHAPE_RECTANGULAR, load->tolerance) / load->resistance;
}

static double root_of_squares(const double *terms, int count)
{
    double sum = 0.0;
    for (int i = 0; i < count; i++)
        sum = hypot(sum, terms[i]);
    return sum;
}

/* The four uncertainties, and what they are multiplied by. */
struct figures {
    double v1, v2, g1, g2;
    double u[4]; /* of the same */
    double denominator;
};

static struct figures figures_of(const struct loaded_reading *one,
                                 const struct loaded_reading *other)
{
    struct figures f = {
        .v1 = one->value,
        .v2 = other->value,
        .g1 = 1.0 / one->load.resistance,
        .g2 = 1.0 / other->load.resistance,
        .u = { one->standard, other->standard, conductance_standard(&one->load),
               conductance_standard(&other->load) },
    };
    f.denominator = f.g1 * f.v1 - f.g2 * f.v2;
    return f;
}

static double denominator_standard(const struct figures *f)
{
    const double terms[] = { f->g1 * f->u[0], f->g2 * f->u[1], f->v1 * f->u[2], f->v2 * f->u[3] };
    return root_of_squares(terms, 4);
}

/* The partial derivatives of the two equations in the header. */
static struct unloaded solve(const struct figures *f)
{
    double d = f->denominator;
    double g = f->g1 - f->g2;
    double drop = f->v2 - f->v1;
    const double value_terms[] = {
        g * f->v2 * f->v2 * f->g2 / (d * d) * f->u[0],
        g * f->v1 * f->v1 * f->g1 / (d * d) * f->u[1],
        f->v1 * f->v2 * f->g2 * drop / (d * d) * f->u[2],
        f->v1 * f->v2 * f->g1 * drop / (d * d) * f->u[3],
    };
    const double resistance_terms[] = {
        g * f->v2 / (d * d) * f->u[0],
        g * f->v1 / (d * d) * f->u[1],
        drop * f->v1 / (d * d) * f->u[2],
        drop * f->v2 / (d * d) * f->u[3],
    };
    return (struct unloaded) { f->v1 * f->v2 * g / d, root_of_squares(value_terms, 4), drop / d,
                               root_of_squares(resistance_terms, 4) };
}

bool two_load_solve(const struct loaded_reading *one, const struct loaded_reading *other,
                    struct unloaded *unloaded, struct failure *failure)
{
    if (!known(one) || !known(other))
        return failure_set(failure, FAILURE_NO_VALUE, NULL, "two readings and two known loads",
                           "a reading or a load is not known");
    struct figures f = figures_of(one, other);
    if (!(f.v1 * f.v2 > 0.0))
        return failure_set(failure, FAILURE_NO_VALUE, NULL, "two readings of one sign",
                           "the readings are %g and %g", f.v1, f.v2);
    if (!(denominator_standard(&f) <= most_in_denominator * fabs(f.denominator)))
        return failure_set(failure, FAILURE_NO_VALUE, NULL, "loads that differ more",
                           "loads of %g and %g ohm are too alike for readings this uncertain",
                           one->load.resistance, other->load.resistance);
    struct unloaded result = solve(&f);
    if (!(result.resistance >= -certainty * result.resistance_standard) ||
        !(result.value * f.v1 > 0.0))
        return failure_set(failure, FAILURE_NO_VALUE, NULL, "the same source both times",
                           "the heavier load does not read less: %g with %g ohm, %g with %g ohm",
                           f.v1, one->load.resistance, f.v2, other->load.resistance);
    if (!isfinite(result.value) || !isfinite(result.standard) || !isfinite(result.resistance) ||
        !isfinite(result.resistance_standard))
        return failure_set(failure, FAILURE_NO_VALUE, NULL, NULL, "the result is no number");
    *unloaded = result;
    return true;
}
