/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "extreme.h"

#include <gsl/gsl_cdf.h>
#include <math.h>

double extreme_quantile(double n, double p)
{
    /* By the upper tail, which keeps its digits: 1 - p^(1/n). */
    return gsl_cdf_ugaussian_Qinv(-expm1(log(p) / n));
}

double extreme_mean(double n)
{
    static const double mean_of_gumbel = 0.57037;
    return n > 1 ? extreme_quantile(n, mean_of_gumbel) : 0;
}
