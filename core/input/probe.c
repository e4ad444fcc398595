/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "probe.h"

#include <math.h>

/* How far an input's resistance may be from the one that the probe was made for. */
static const double input_tolerance = 0.02;

struct probe probe_direct(void)
{
    return (struct probe) {
        .name = "direct",
        .dimension = DIMENSION_VOLTAGE,
        .unit = "V",
        .factor = 1.0,
        .tip_resistance = NAN,
        .tip_capacitance = NAN,
        .capacitance_tolerance = NAN,
        .load_resistance = NAN,
        .bandwidth = NAN,
        .rating = NAN,
        .rating_corner = NAN,
    };
}

double probe_to_tip(const struct probe *probe, double input)
{
    return input * probe->factor + probe->offset;
}

double probe_to_input(const struct probe *probe, double tip)
{
    return (tip - probe->offset) / probe->factor;
}

double probe_rating_at(const struct probe *probe, double frequency)
{
    if (frequency > probe->rating_corner)
        return probe->rating * (probe->rating_corner / frequency);
    return probe->rating;
}

bool probe_fits_input(const struct probe *probe, double input_resistance)
{
    if (isnan(probe->load_resistance) || isnan(input_resistance))
        return true;
    double difference = fabs(input_resistance - probe->load_resistance);
    return difference <= input_tolerance * probe->load_resistance;
}
