/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "levels.h"

#include <math.h>

/* What two states must be: so far apart, and so seldom left. */
static const double least_distance_noise = 10.0;
static const double least_distance = 1.0 / 3.0;
static const double off_level = 0.2; /* of the amplitude */
static const double most_off = 0.25; /* of the samples in a half */

enum { FEWEST_IN_STATE = 3 };

/* A histogram with what its bins stand for. */
struct histogram {
    double low;
    double width;
    uint32_t tally[SERIES_BINS];
};

static double bin_width(const struct series *series, double minimum, double maximum)
{
    double height = maximum - minimum;
    if (series->reals)
        return height / SERIES_BINS;
    double width = 1.0;
    while (height >= width * SERIES_BINS)
        width *= 2.0;
    return width;
}

/* The bin that a level falls in, kept within the histogram. */
static size_t bin_of(const struct histogram *histogram, double level)
{
    double bin = floor((level - histogram->low) / histogram->width);
    return (size_t)fmax(0.0, fmin(bin, SERIES_BINS - 1));
}

/* The bin, of first ... last, whose neighbourhood of `reach` bins on either side holds most. */
static size_t mode(const struct histogram *histogram, size_t first, size_t last, size_t reach)
{
    size_t best = first;
    uint64_t most = 0, window = 0;
    for (size_t i = first; i <= last + reach; i++) {
        window += i <= last ? histogram->tally[i] : 0;
        window -= i > first + 2 * reach ? histogram->tally[i - 2 * reach - 1] : 0;
        if (window > most) {
            most = window;
            best = i >= first + reach ? i - reach : first;
        }
    }
    return best;
}

static double bin_begin(const struct histogram *histogram, double bin)
{
    return histogram->low + bin * histogram->width;
}

/* The mean of what lies in the bins around a mode; where a bin is one code the histogram knows. */
static struct series_band level_at(const struct series *series, const struct histogram *histogram,
                                   size_t bin, size_t reach)
{
    size_t first = bin > reach ? bin - reach : 0;
    size_t last = bin + reach < SERIES_BINS ? bin + reach : SERIES_BINS - 1;
    if (series->codes && histogram->width == 1.0) {
        uint64_t count = 0;
        double sum = 0.0;
        for (size_t i = first; i <= last; i++) {
            count += histogram->tally[i];
            sum += (double)histogram->tally[i] * (double)i;
        }
        struct series_band band = { count, histogram->low + sum / (double)count };
        return band;
    }
    bool top = last == SERIES_BINS - 1; /* it also holds the maximum */
    double end = bin_begin(histogram, (double)last + 1.0);
    struct zone zone = zone_between(bin_begin(histogram, (double)first),
                                    top ? INFINITY : nextafter(end, -INFINITY));
    return series_within(series, &zone);
}

static uint64_t counted(const struct histogram *histogram, double from, double to)
{
    uint64_t count = 0;
    for (size_t i = bin_of(histogram, from); i < bin_of(histogram, to); i++)
        count += histogram->tally[i];
    return count;
}

/* Whether the record mostly is in its states. */
static bool rests(const struct histogram *histogram, double low, double high, double maximum)
{
    double amplitude = high - low;
    double split = low + amplitude / 2.0;
    uint64_t all_low = counted(histogram, histogram->low, split);
    uint64_t all_high =
        counted(histogram, split, maximum) + histogram->tally[bin_of(histogram, maximum)];
    double room = off_level * amplitude;
    uint64_t off_low =
        counted(histogram, low + room, split) + counted(histogram, histogram->low, low - room);
    uint64_t off_high =
        counted(histogram, split, high - room) + counted(histogram, high + room, maximum);
    return (double)off_low <= most_off * (double)all_low &&
           (double)off_high <= most_off * (double)all_high;
}

/* The two modes, as bins, and whether they are states of the record. */
static enum wave_reason find_modes(const struct histogram *histogram, double maximum, double noise,
                                   size_t reach, size_t modes[2])
{
    double height = maximum - histogram->low;
    size_t top = bin_of(histogram, maximum);
    size_t split = bin_of(histogram, histogram->low + height / 2.0);
    modes[0] = mode(histogram, 0, split > 0 ? split - 1 : 0, reach);
    modes[1] = mode(histogram, split, top, reach);
    double low = bin_begin(histogram, (double)modes[0] + 0.5);
    double high = bin_begin(histogram, (double)modes[1] + 0.5);
    if (!(high - low >= least_distance_noise * noise))
        return WAVE_NOISY;
    bool apart = high - low >= least_distance * height && high > low;
    return apart && rests(histogram, low, high, maximum) ? WAVE_NONE : WAVE_NO_STATES;
}

enum wave_reason levels_find(const struct series *series, double minimum, double maximum,
                             double noise, struct levels *levels)
{
    struct histogram histogram = { .low = minimum, .width = bin_width(series, minimum, maximum) };
    if (!(maximum > minimum) || !(histogram.width > 0.0))
        return WAVE_FLAT;
    series_tally(series, histogram.low, histogram.width, histogram.tally);
    size_t reach = (size_t)fmin(rint(noise / histogram.width), SERIES_BINS / 2.0);
    size_t modes[2];
    enum wave_reason reason = find_modes(&histogram, maximum, noise, reach, modes);
    if (reason != WAVE_NONE)
        return reason;
    struct series_band low = level_at(series, &histogram, modes[0], reach);
    struct series_band high = level_at(series, &histogram, modes[1], reach);
    if (low.count < FEWEST_IN_STATE || high.count < FEWEST_IN_STATE)
        return WAVE_FEW_SAMPLES;
    struct levels found = { low.mean, high.mean, low.count, high.count };
    *levels = found;
    return WAVE_NONE;
}
