/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "least_squares.h"

#include <math.h>

/* Columns are dependent when this is all that is left of one beside those before it. */
static const double dependent = 1e-13;

static bool decompose(const double *normal, size_t columns, const size_t *column,
                      struct least_squares *fit)
{
    fit->determinant = 0;
    for (size_t i = 0; i < fit->count; i++) {
        for (size_t j = 0; j <= i; j++) {
            size_t a = column[i] > column[j] ? column[i] : column[j];
            size_t b = column[i] > column[j] ? column[j] : column[i];
            double whole = normal[a * columns + b], sum = whole;
            for (size_t k = 0; k < j; k++)
                sum -= fit->lower[i][k] * fit->lower[j][k];
            if (i != j) {
                fit->lower[i][j] = sum / fit->lower[j][j];
                continue;
            }
            if (!(sum > dependent * whole))
                return false;
            fit->lower[i][i] = sqrt(sum);
            fit->determinant += log(sum);
        }
    }
    return true;
}

bool least_squares_fit(const double *normal, size_t columns, const size_t *column, size_t count,
                       struct least_squares *fit)
{
    double middle[LEAST_SQUARES_COLUMNS];
    fit->count = count;
    if (!decompose(normal, columns, column, fit))
        return false;
    fit->left = normal[0];
    for (size_t i = 0; i < count; i++) {
        double sum = normal[column[i] * columns];
        for (size_t k = 0; k < i; k++)
            sum -= fit->lower[i][k] * middle[k];
        middle[i] = sum / fit->lower[i][i];
        fit->left -= middle[i] * middle[i];
    }
    fit->left = fmax(0, fit->left);
    for (size_t i = count; i-- > 0;) {
        double sum = middle[i];
        for (size_t k = i + 1; k < count; k++)
            sum -= fit->lower[k][i] * fit->factor[k];
        fit->factor[i] = sum / fit->lower[i][i];
    }
    return true;
}

double least_squares_at(const struct least_squares *fit, const double *row)
{
    double value = 0;
    for (size_t i = 0; i < fit->count; i++)
        value += fit->factor[i] * row[i];
    return value;
}

double least_squares_variance(const struct least_squares *fit, const double *row)
{
    double part[LEAST_SQUARES_COLUMNS], variance = 0;
    for (size_t i = 0; i < fit->count; i++) {
        double sum = row[i];
        for (size_t k = 0; k < i; k++)
            sum -= fit->lower[i][k] * part[k];
        part[i] = sum / fit->lower[i][i];
        variance += part[i] * part[i];
    }
    return variance;
}
