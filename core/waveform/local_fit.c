/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "local_fit.h"

#include <math.h>

/* A pivot that is less, of its diagonal element, is none. */
static const double least_pivot = 1e-12;

void local_add(struct local_sums *sums, double x, double y, double weight)
{
    double power = weight;
    for (int i = 0; i <= 2 * LOCAL_FIT_ORDER; i++) {
        sums->powers[i] += power;
        if (i <= LOCAL_FIT_ORDER)
            sums->products[i] += power * y;
        power *= x;
    }
    sums->square += weight * y * y;
    sums->points++;
}

/* Gaussian elimination of the normal equations; `b` becomes the solution. */
static bool solve(const struct local_sums *sums, int order, double b[LOCAL_FIT_ORDER + 1])
{
    double a[LOCAL_FIT_ORDER + 1][LOCAL_FIT_ORDER + 1];
    for (int i = 0; i <= order; i++)
        for (int j = 0; j <= order; j++)
            a[i][j] = sums->powers[i + j];
    for (int k = 0; k <= order; k++) {
        if (!(a[k][k] > least_pivot * sums->powers[k + k]))
            return false;
        for (int i = k + 1; i <= order; i++) {
            double share = a[i][k] / a[k][k];
            for (int j = k; j <= order; j++)
                a[i][j] -= share * a[k][j];
            b[i] -= share * b[k];
        }
    }
    for (int k = order; k >= 0; k--) {
        for (int j = k + 1; j <= order; j++)
            b[k] -= a[k][j] * b[j];
        b[k] /= a[k][k];
    }
    return true;
}

bool local_solve(const struct local_sums *sums, int order, struct local_fit *fit)
{
    *fit = (struct local_fit) { .order = order, .left = sums->square };
    for (int i = 0; i <= order; i++)
        fit->terms[i] = sums->products[i];
    if (!(sums->points > order + 1) || !solve(sums, order, fit->terms))
        return false;
    for (int i = 0; i <= order; i++)
        fit->left -= fit->terms[i] * sums->products[i];
    fit->left = fmax(0, fit->left);
    return true;
}

double local_value(const struct local_fit *fit, double x)
{
    double value = 0;
    for (int i = fit->order; i >= 0; i--)
        value = value * x + fit->terms[i];
    return value;
}

double local_variance(const struct local_sums *sums, int order, double x)
{
    double column[LOCAL_FIT_ORDER + 1], row[LOCAL_FIT_ORDER + 1], power = 1, variance = 0;
    for (int i = 0; i <= LOCAL_FIT_ORDER; i++) {
        column[i] = row[i] = power;
        power *= x;
    }
    if (!solve(sums, order, column))
        return INFINITY;
    for (int i = 0; i <= order; i++)
        variance += row[i] * column[i];
    return variance;
}
