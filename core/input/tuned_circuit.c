/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "tuned_circuit.h"

#include <math.h>

static const double two_pi = 6.283185307179586477;

double tuned_frequency(double inductance, double capacitance)
{
    if (!(inductance > 0) || !(capacitance > 0))
        return NAN;
    return 1 / (two_pi * sqrt(inductance) * sqrt(capacitance));
}

double tuned_capacitance(double inductance, double frequency)
{
    if (!(inductance > 0) || !(frequency > 0))
        return NAN;
    double angular = two_pi * frequency;
    return 1 / (angular * angular * inductance);
}

double tuned_loaded(double frequency, double capacitance, double added)
{
    if (!(frequency > 0) || !(capacitance > 0) || !(added >= 0))
        return NAN;
    return frequency / sqrt(1 + added / capacitance);
}
