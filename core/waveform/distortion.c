/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "distortion.h"

#include <math.h>
#include <stdbool.h>

/* Power of the bins first ... last, as squares of amplitudes, as wide as the window spreads it. */
static double power_between(const struct spectrum *spectrum, size_t first, size_t last)
{
    double power = 0.0;
    for (size_t k = first; k <= last; k++)
        power += spectrum->amplitude[k] * spectrum->amplitude[k];
    return power / window_noise_bandwidth(spectrum->window);
}

/* The largest of the bins first ... last - 1, none of which is in the lobe around `barred`. */
static size_t largest(const struct spectrum *spectrum, size_t first, size_t last, size_t barred)
{
    size_t reach = window_reach(spectrum->window);
    size_t best = first;
    double most = -1.0;
    for (size_t k = first; k < last; k++) {
        bool free = k + reach < barred || k > barred + reach;
        if (free && spectrum->amplitude[k] > most) {
            most = spectrum->amplitude[k];
            best = k;
        }
    }
    return best;
}

/* Where in its lobe a component lies, in bins: the centre of its power. */
static double centre_of(const struct spectrum *spectrum, size_t bin)
{
    size_t reach = window_reach(spectrum->window);
    double power = 0.0, moment = 0.0;
    for (size_t k = bin - reach; k <= bin + reach; k++) {
        double here = spectrum->amplitude[k] * spectrum->amplitude[k];
        power += here;
        moment += here * ((double)k - (double)bin);
    }
    return (double)bin + moment / power;
}

/* The lobe around a place, kept off the mean's and within the spectrum. */
static double lobe_power(const struct spectrum *spectrum, double place, size_t *bins)
{
    size_t reach = window_reach(spectrum->window);
    size_t bin = (size_t)rint(place);
    size_t last = bin + reach < spectrum->bins ? bin + reach : spectrum->bins - 1;
    *bins += last - (bin - reach) + 1;
    return power_between(spectrum, bin - reach, last);
}

/* Powers of everything in a spectrum. */
struct powers {
    double fundamental;
    double harmonics;
    double noise;
};

/* Fills in the harmonics; returns their power and adds to `*bins` what they take of the spectrum. */
static double find_harmonics(const struct spectrum *spectrum, double place,
                             struct distortion *distortion, size_t *bins)
{
    double all = 0.0;
    distortion->harmonics = 1;
    distortion->harmonic[0] = distortion->amplitude;
    for (size_t order = 2; order <= DISTORTION_HARMONICS; order++) {
        double at = place * (double)order;
        if (at >= (double)(spectrum->bins - 1))
            break;
        double power = lobe_power(spectrum, at, bins);
        distortion->harmonic[order - 1] = sqrt(power);
        distortion->harmonics = order;
        all += power;
    }
    return all;
}

/* What is left, with the bins that were taken filled up by its mean. */
static double noise_of(const struct spectrum *spectrum, double taken, size_t taken_bins)
{
    size_t reach = window_reach(spectrum->window);
    double all = power_between(spectrum, reach + 1, spectrum->bins - 1);
    size_t bins = spectrum->bins - 1 - reach;
    double left = fmax(all - taken, 0.0);
    return taken_bins < bins ? left * (double)(spectrum->bins - 1) / (double)(bins - taken_bins)
                             : left;
}

static enum wave_reason place_fundamental(const struct spectrum *spectrum, size_t *bin)
{
    size_t reach = window_reach(spectrum->window);
    if (spectrum->bins < 4 * reach + 4)
        return WAVE_FEW_SAMPLES;
    /* From the first bin on: a slope or a part of a period is largest there. */
    *bin = largest(spectrum, 1, spectrum->bins, spectrum->bins + 2 * reach);
    if (!(spectrum->amplitude[*bin] > 0.0))
        return WAVE_FLAT;
    if (*bin <= 2 * reach)
        return WAVE_FEW_PERIODS;
    return *bin + reach < spectrum->bins ? WAVE_NONE : WAVE_FEW_SAMPLES;
}

enum wave_reason distortion_measure(const struct spectrum *spectrum, struct distortion *distortion)
{
    size_t bin;
    enum wave_reason reason = place_fundamental(spectrum, &bin);
    if (reason != WAVE_NONE)
        return reason;
    struct distortion seen = { 0 };
    size_t bins = 0;
    double place = centre_of(spectrum, bin);
    struct powers powers = { .fundamental = lobe_power(spectrum, (double)bin, &bins) };
    seen.frequency = place * spectrum->spacing;
    seen.amplitude = sqrt(powers.fundamental);
    powers.harmonics = find_harmonics(spectrum, place, &seen, &bins);
    powers.noise = noise_of(spectrum, powers.fundamental + powers.harmonics, bins);
    if (!(powers.fundamental > powers.noise))
        return WAVE_NOISY;
    size_t reach = window_reach(spectrum->window);
    size_t other = largest(spectrum, reach + 1, spectrum->bins, bin);
    seen.thd_f = sqrt(powers.harmonics / powers.fundamental);
    seen.thd_r = sqrt(powers.harmonics / (powers.harmonics + powers.fundamental));
    seen.snr = sqrt(powers.fundamental / powers.noise);
    seen.sinad = sqrt(powers.fundamental / (powers.noise + powers.harmonics));
    seen.sfdr = spectrum->amplitude[bin] / spectrum->amplitude[other];
    *distortion = seen;
    return WAVE_NONE;
}
