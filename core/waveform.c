/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "waveform.h"

#include "period.h"

#include <math.h>
#include <stdint.h>
#include <string.h>

enum { FEWEST_SAMPLES = 4 };

/* Median of |x| for normal x of unit sigma, and sigma of a second difference of white noise. */
static const double normal_median = 0.67448975019608174;
static const double second_difference_sigma = 2.4494897427831781;

/* The radix selection of median_second_difference(): three digits of twelve bits. */
enum { DIGIT_BITS = 12, DIGIT_VALUES = 1 << DIGIT_BITS, DIGITS = 3, SIGN_BITS = 1 };

struct extremes {
    size_t at_maximum; /* the first sample that has it */
    size_t at_minimum;
    double maximum;
    double minimum;
};

/* Returns false when a sample or the peak-to-peak value is not finite. */
static bool find_extremes(const double *volts, size_t count, struct extremes *extremes)
{
    *extremes = (struct extremes) { 0, 0, volts[0], volts[0] };
    for (size_t i = 0; i < count; i++) {
        if (!isfinite(volts[i])) {
            return false;
        }
        if (volts[i] > extremes->maximum) {
            extremes->maximum = volts[i];
            extremes->at_maximum = i;
        }
        if (volts[i] < extremes->minimum) {
            extremes->minimum = volts[i];
            extremes->at_minimum = i;
        }
    }
    return isfinite(extremes->maximum - extremes->minimum);
}

/* |x[i-1] - 2 x[i] + x[i+1]| as the bits of a double: without a sign they sort as it does. */
static uint64_t second_difference_bits(const double *volts, size_t i)
{
    double difference = fabs((volts[i - 1] - volts[i]) + (volts[i + 1] - volts[i]));
    uint64_t bits = 0;
    memcpy(&bits, &difference, sizeof(bits));
    return bits;
}

/*
 * One digit of the selection: among the differences whose leading bits are
 * `prefix`, finds the next twelve bits of the one with rank `*rank`, and makes
 * the rank count within those.
 */
static uint64_t select_digit(const double *volts, size_t count, uint64_t prefix, unsigned int shift,
                             size_t *rank)
{
    size_t tally[DIGIT_VALUES] = { 0 };
    for (size_t i = 1; i + 1 < count; i++) {
        uint64_t bits = second_difference_bits(volts, i) >> shift;
        if (bits >> DIGIT_BITS == prefix) {
            tally[bits & (DIGIT_VALUES - 1)]++;
        }
    }
    uint64_t digit = 0;
    while (*rank >= tally[digit]) {
        *rank -= tally[digit++];
    }
    return prefix << DIGIT_BITS | digit;
}

/*
 * Median of the second differences' magnitudes, to 25 bits (3 parts in 10^8),
 * downward, so that zero stays zero. Three passes over the record, 32 KiB of
 * stack and no allocation, whatever the record's length.
 */
static double median_second_difference(const double *volts, size_t count)
{
    size_t rank = (count - 2) / 2;
    uint64_t bits = 0;
    unsigned int shift = 64 - SIGN_BITS;
    for (int i = 0; i < DIGITS; i++) {
        shift -= DIGIT_BITS;
        bits = select_digit(volts, count, bits, shift, &rank);
    }
    bits <<= shift;
    double median = 0.0;
    memcpy(&median, &bits, sizeof(median));
    return median;
}

/*
 * Standard deviation of one sample's noise, taken as white: its second
 * differences have variance (1 + 4 + 1) sigma^2. Edges are few and move the
 * median little. The curvature of the signal counts as noise: a sine of
 * amplitude A with n samples a period adds about 17 A / n^2, so 0.2 % of A for
 * 100 samples a period. Where the converter's step hides the noise the
 * result is 0 or about 0.6 of a step; the step itself is not counted here.
 */
static double estimate_noise(const double *volts, size_t count)
{
    return median_second_difference(volts, count) / (normal_median * second_difference_sigma);
}

/*
 * How far the signal can rise above `peak` on its way to `after`.
 *
 * While the signal bends only one way around its peak, it stays below both
 * neighbouring chords prolonged; this is the height of the point where they
 * meet. A triangle reaches it, the top of a well-sampled sine a quarter of
 * it, and beside a level top one chord is level, so that an edge adds nothing.
 * Where the sample `beyond` is not there (NAN), only one chord is; where it
 * shows that the signal bends the other way (a spike, an edge), the parabola
 * through three samples gives the bound, the smaller slope standing for both.
 */
static double rise_above(double before, double peak, double after, double beyond)
{
    double rise = peak - before;
    double drop = peak - after;
    double fall = after - beyond;
    if (isnan(beyond)) {
        return rise;
    }
    if (fall >= drop && rise + fall > 0.0) {
        return rise * ((fall - drop) / (rise + fall));
    }
    return fmin(rise, drop) / 4.0;
}

/* At an end of the record only the prolonged chord beyond the neighbour can tell. */
static double rise_at_end(double peak, double after, double beyond)
{
    return fmax((after - beyond) - (peak - after), 0.0);
}

/* As the two above, for the extreme at sample i; sign is 1 for a maximum, -1 for a minimum. */
static double gap_at(const double *volts, size_t count, size_t i, double sign)
{
    double peak = sign * volts[i];
    if (i == 0) {
        return rise_at_end(peak, sign * volts[1], sign * volts[2]);
    }
    double before = sign * volts[i - 1];
    double before_that = i >= 2 ? sign * volts[i - 2] : NAN;
    if (i + 1 == count) {
        return rise_at_end(peak, before, before_that);
    }
    double after = sign * volts[i + 1];
    double after_that = i + 2 < count ? sign * volts[i + 2] : NAN;
    return fmax(rise_above(before, peak, after, after_that),
                rise_above(after, peak, before, before_that));
}

/*
 * Bound on what lies between the samples at either extreme. It holds for a
 * sine from four samples a period on; it can say nothing of a spike that
 * fell between two samples altogether.
 */
static double estimate_peak_gap(const double *volts, size_t count, const struct extremes *extremes)
{
    return fmax(gap_at(volts, count, extremes->at_maximum, 1.0),
                gap_at(volts, count, extremes->at_minimum, -1.0));
}

static bool all_finite(const struct waveform *waveform)
{
    return isfinite(waveform->rms) && isfinite(waveform->noise) && isfinite(waveform->peak_gap);
}

bool waveform_measure(const double *volts, size_t count, double interval, struct waveform *waveform)
{
    struct extremes extremes;
    if (count < FEWEST_SAMPLES || !(interval > 0.0) || !isfinite(interval) ||
        !find_extremes(volts, count, &extremes)) {
        return false;
    }
    struct waveform seen = {
        .count = count,
        .interval = interval,
        .maximum = extremes.maximum,
        .minimum = extremes.minimum,
        .peak_to_peak = extremes.maximum - extremes.minimum,
        .noise = estimate_noise(volts, count),
        .peak_gap = estimate_peak_gap(volts, count, &extremes),
    };
    struct stretch stretch =
        period_find(volts, count, extremes.minimum, extremes.maximum, seen.noise);
    seen.periods = stretch.periods;
    seen.frequency = period_frequency(&stretch) / interval;
    seen.mean = period_mean(volts, count, &stretch);
    seen.ac_rms = sqrt(period_mean_square(volts, count, seen.mean, &stretch));
    seen.rms = hypot(seen.mean, seen.ac_rms);
    if (!all_finite(&seen)) {
        return false;
    }
    *waveform = seen;
    return true;
}

double waveform_aspect(const struct waveform *waveform, enum aspect aspect)
{
    switch (aspect) {
    case ASPECT_DC:
        return waveform->mean;
    case ASPECT_AC:
        return waveform->ac_rms;
    case ASPECT_RMS:
        return waveform->rms;
    case ASPECT_PEAK_TO_PEAK:
        return waveform->peak_to_peak;
    case ASPECT_MAXIMUM:
        return waveform->maximum;
    case ASPECT_MINIMUM:
        return waveform->minimum;
    case ASPECT_WHOLE:
        break;
    }
    return NAN;
}
