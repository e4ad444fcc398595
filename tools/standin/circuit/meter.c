/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "meter.h"

#include "converter.h"
#include "spread.h"

#include <math.h>

/* A dc reading averages over this long, however fast the bench is told to answer. */
#define APERTURE_S 0.02
/* Noise is white up to here, so an average of it has sigma / sqrt(2 * bandwidth * aperture). */
#define NOISE_BANDWIDTH_HZ 100e3
/* The coupling capacitor of the ac functions. */
#define AC_CORNER_HZ 0.5
/* Below this much swing at the terminals the frequency counter finds no edges. */
#define COUNTER_SWING_V   0.02
#define COUNTER_LOWEST_HZ 5.0
/* A resistance that has a voltage on it cannot be measured. */
#define LIVE_VOLTS 1e-3

void meter_init(struct meter *meter, const struct meter_type *type, gsl_rng *rng, double fraction)
{
    *meter = (struct meter) { .type = type };
    for (size_t f = 0; f < METER_FUNCTIONS; f++) {
        for (size_t r = 0; r < type->functions[f].count; r++) {
            const struct meter_range *range = &type->functions[f].ranges[r];
            struct meter_error *error = &meter->errors[f][r];
            /* Rounding to counts takes its half count out of the specification. */
            double offset = fmax(range->offset - range->count / 2.0, 0.0);

            error->gain = spread_within(rng, range->gain * fraction);
            error->offset = spread_within(rng, offset * fraction);
            error->input_resistance =
                range->input_resistance *
                (1.0 + spread_within(rng, range->resistance_tolerance * fraction));
        }
    }
    meter_reset(meter);
}

void meter_reset(struct meter *meter)
{
    meter->function = METER_DC_VOLTAGE;
    meter->input = 0;
    meter->automatic = false;
    for (size_t f = 0; f < METER_FUNCTIONS; f++)
        meter->range[f] = meter->type->functions[f].count - 1;
}

bool meter_select_function(struct meter *meter, enum meter_function function)
{
    if (meter->type->functions[function].count == 0)
        return false;
    if (meter->function != function) {
        meter->function = function;
        meter->relay_changes++;
    }
    return true;
}

bool meter_select_range(struct meter *meter, enum meter_function function, size_t range)
{
    if (range >= meter->type->functions[function].count)
        return false;
    meter->automatic = false;
    if (meter->range[function] != range) {
        meter->range[function] = range;
        meter->relay_changes += meter->function == function;
    }
    return true;
}

bool meter_select_input(struct meter *meter, int input)
{
    if (input < 1 || input > METER_INPUTS)
        return false;
    meter->relay_changes += meter->input != input;
    meter->input = input;
    return true;
}

bool meter_range_holding(const struct meter *meter, enum meter_function function, double value,
                         size_t *range)
{
    const struct meter_function_type *type = &meter->type->functions[function];

    for (size_t r = 0; r < type->count; r++) {
        if (fabs(value) <= type->ranges[r].full_scale) {
            *range = r;
            return true;
        }
    }
    return false;
}

const struct meter_range *meter_range(const struct meter *meter)
{
    return &meter->type->functions[meter->function].ranges[meter->range[meter->function]];
}

static const struct meter_error *error_of(const struct meter *meter)
{
    return &meter->errors[meter->function][meter->range[meter->function]];
}

/* The true value at the terminals, or INFINITY where the front end is driven too hard. */
static double dc_value(const struct tie *tie, double gain, double offset, double full_scale,
                       double now, gsl_rng *rng)
{
    const struct source *source = tie->source;
    struct truth truth = source_truth(source, now);
    double averaged = source->noise / sqrt(2.0 * NOISE_BANDWIDTH_HZ * APERTURE_S);
    double highest = fmax(fabs(truth.maximum * gain + offset), fabs(truth.minimum * gain + offset));

    /* Ripple that runs over the ends of the converter is no longer averaged rightly. */
    if (highest > full_scale * (1.0 + 1e-9) && truth.peak_to_peak > 0.0)
        return INFINITY;
    return (truth.dc + spread_gauss(rng, averaged) + spread_gauss(rng, source->wander)) * gain +
           offset;
}

static double ac_value(const struct meter *meter, const struct tie *tie, double gain)
{
    const struct wave *wave = &tie->source->wave;
    double mean = wave_mean(wave);
    double share = circuit_sine_share(tie, error_of(meter)->input_resistance);
    double through = fabs(gain) * share * highpass_gain(wave->frequency, AC_CORNER_HZ);
    double noise = tie->source->noise * fabs(gain);
    double peak = fmax(wave_maximum(wave) - mean, mean - wave_minimum(wave)) * through;

    if (peak > meter->type->crest * meter_range(meter)->full_scale)
        return INFINITY;
    if (meter->type->average_responding) {
        /* Rectified mean times the form factor of a sine, pi / (2 sqrt 2) = 1.1107. */
        double form = M_PI / (2.0 * M_SQRT2);

        return through > 0.0 ? form * through * wave_ac_mean_magnitude(wave, noise / through)
                             : form * noise * sqrt(2.0 / M_PI);
    }
    return hypot(wave_ac_rms(wave) * through, noise);
}

static double resistance_value(const struct meter *meter, const struct tie *tie, double now)
{
    struct truth truth = source_truth(tie->source, now);

    double leads = meter->function == METER_FOUR_WIRE ? 0.0 : tie->probe.lead_resistance;

    if (source_is_passive(tie->source))
        return tie->source->resistance + leads;
    if (fmax(fabs(truth.maximum), fabs(truth.minimum)) > LIVE_VOLTS)
        return INFINITY;
    return tie->source->unit == SOURCE_AMPERES ? INFINITY : tie->source->source_resistance + leads;
}

static double frequency_value(const struct tie *tie, double gain, double now)
{
    struct truth truth = source_truth(tie->source, now);
    bool found =
        truth.peak_to_peak * fabs(gain) >= COUNTER_SWING_V && truth.frequency >= COUNTER_LOWEST_HZ;

    return found ? truth.frequency : 0.0;
}

static double true_value(const struct meter *meter, const struct tie *tie, double now, gsl_rng *rng)
{
    double full_scale = meter_range(meter)->full_scale;
    double gain = circuit_voltage_gain(tie, error_of(meter)->input_resistance);

    switch (meter->function) {
    case METER_DC_VOLTAGE:
        return tie->probe.blocks_dc ? 0.0
                                    : dc_value(tie, gain, tie->probe.offset, full_scale, now, rng);
    case METER_DC_CURRENT:
        return dc_value(tie, circuit_current_gain(tie), 0.0, full_scale, now, rng);
    case METER_AC_VOLTAGE:
        return ac_value(meter, tie, gain);
    case METER_RESISTANCE:
    case METER_FOUR_WIRE:
        return resistance_value(meter, tie, now);
    case METER_FREQUENCY:
    case METER_FUNCTIONS:
        break;
    }
    return frequency_value(tie, gain, now);
}

struct meter_reading meter_read(const struct meter *meter, const struct tie *tie, double now,
                                gsl_rng *rng)
{
    const struct meter_range *range = meter_range(meter);
    const struct meter_error *error = error_of(meter);
    bool open_ohms = tie->source == NULL &&
                     (meter->function == METER_RESISTANCE || meter->function == METER_FOUR_WIRE);
    double value = tie->source != NULL ? true_value(meter, tie, now, rng) : 0.0;
    bool unsigned_value = meter->function == METER_AC_VOLTAGE || meter->function == METER_FREQUENCY;
    struct meter_reading reading = { .overload = open_ohms || isinf(value) };

    if (reading.overload)
        return reading;
    if (meter->function == METER_FREQUENCY && value == 0.0)
        return reading;
    value += value * error->gain + error->offset;
    if (unsigned_value)
        value = fmax(value, 0.0);
    reading.overload = !converter_counts(value, range->count,
                                         round(range->full_scale / range->count), &reading.value);
    return reading;
}
