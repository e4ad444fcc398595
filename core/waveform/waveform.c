/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "waveform.h"

#include "period.h"

#include <math.h>

enum { FEWEST_SAMPLES = 4 };

/* Median of |x| for normal x of unit sigma, and sigma of a second difference of white noise. */
static const double normal_median = 0.67448975019608174;
static const double second_difference_sigma = 2.4494897427831781;

/*
 * Standard deviation of one sample's noise, taken as white: its second
 * differences have variance (1 + 4 + 1) sigma^2. Edges are few and move the
 * median little. The curvature of the signal counts as noise: a sine of
 * amplitude A with n samples a period adds about 17 A / n^2, so 0.2 % of A for
 * 100 samples a period. Where the converter's step hides the noise the
 * result is 0 or about 0.6 of a step; the step itself is not counted here.
 */
static double estimate_noise(const struct series *series, double height)
{
    return series_median_bend(series, height) / (normal_median * second_difference_sigma);
}

/*
 * How far the signal can rise above `peak` on its way to `after`.
 *
 * While the signal bends only one way around its peak, it stays below both
 * neighbouring chords prolonged; this is the height of the point where they
 * meet. A triangle reaches it, the top of a well-sampled sine a quarter of
 * it, and beside a level top one chord is level, so that an edge adds nothing.
 * Where the sample `beyond` is not there (NAN), only one chord is; where it
 * shows that the signal bends the other way, a spike of like slopes is taken as the parabola
 * through three samples; the steeper one of them is, the more it is an edge, up to which the
 * smaller slope may go on (a sawtooth).
 */
static double rise_above(double before, double peak, double after, double beyond)
{
    double rise = peak - before;
    double drop = peak - after;
    double fall = after - beyond;
    if (isnan(beyond))
        return rise;
    if (fall >= drop && rise + fall > 0.0)
        return rise * ((fall - drop) / (rise + fall));
    double lesser = fmin(rise, drop), greater = fmax(rise, drop);
    return greater > 0.0 ? lesser * (1.0 - 0.75 * lesser / greater) : 0.0;
}

/*
 * A cusp steepens towards its tip on both sides: each step is larger than the one outside it, by more
 * than noise. Of one like the root of the distance from it, the sharpest that is thought of, the tip is
 * above the higher of two samples by no more than 1.37 times the lesser of the steps beside them,
 * sqrt(1/2) / (sqrt(3/2) - sqrt(1/2)), as when it lies midway; the steps are then as 1.45 to 1. Of two
 * straight lines it is half a step, and in between by how much they steepen (own derivation).
 */
static double rise_of_cusp(const double at[6], double noise)
{
    static const double straight = 0.5, sharpest = 1.37, steepest = 1.45;
    static const double surely = 4.0, at_most = 3.0, least = 1.05;
    double left = at[2] - at[1], right = at[3] - at[4];
    double beyond_left = at[1] - at[0], beyond_right = at[4] - at[5];
    if (!(left > least * beyond_left + surely * noise &&
          right > least * beyond_right + surely * noise))
        return 0;
    bool on_left = left < right;
    double lesser = on_left ? left : right, beyond = on_left ? beyond_left : beyond_right;
    double steeper = beyond > 0 ? (lesser + at_most * noise) / beyond : steepest;
    double share = fmin(1, (steeper - 1) / (steepest - 1));
    return lesser * (straight + (sharpest - straight) * share);
}

/* For a peak at sample i, its tip before it or behind. */
static double cusp_at(const struct series *series, size_t i, double sign, double noise)
{
    double highest = 0;
    for (size_t begin = i < 3 ? 0 : i - 3; begin + 6 <= series->count && begin + 2 <= i; begin++) {
        double at[6];
        for (size_t k = 0; k < 6; k++)
            at[k] = sign * series_at(series, begin + k);
        highest = fmax(highest, rise_of_cusp(at, noise));
    }
    return highest;
}

/* At an end of the record only the prolonged chord beyond the neighbour can tell. */
static double rise_at_end(double peak, double after, double beyond)
{
    return fmax((after - beyond) - (peak - after), 0.0);
}

/* As the two above, for the extreme at sample i; sign is 1 for a maximum, -1 for a minimum. */
static double gap_at(const struct series *series, size_t i, double sign)
{
    double peak = sign * series_at(series, i);
    if (i == 0)
        return rise_at_end(peak, sign * series_at(series, 1), sign * series_at(series, 2));
    double before = sign * series_at(series, i - 1);
    double before_that = i >= 2 ? sign * series_at(series, i - 2) : NAN;
    if (i + 1 == series->count)
        return rise_at_end(peak, before, before_that);
    double after = sign * series_at(series, i + 1);
    double after_that = i + 2 < series->count ? sign * series_at(series, i + 2) : NAN;
    return fmax(rise_above(before, peak, after, after_that),
                rise_above(after, peak, before, before_that));
}

/*
 * Bound on what lies between the samples at either extreme. It holds for a
 * sine from four samples a period on; it can say nothing of a spike that
 * fell between two samples altogether.
 */
static double estimate_peak_gap(const struct series *series, double minimum, double maximum,
                                double noise)
{
    struct zone below = zone_below(maximum);
    struct zone above = zone_between(nextafter(minimum, INFINITY), INFINITY);
    size_t at_maximum = series_leave(series, 0, &below);
    size_t at_minimum = series_leave(series, 0, &above);
    double cusp =
        fmax(cusp_at(series, at_maximum, 1.0, noise), cusp_at(series, at_minimum, -1.0, noise));
    return fmax(cusp, fmax(gap_at(series, at_maximum, 1.0), gap_at(series, at_minimum, -1.0)));
}

static bool all_finite(const struct waveform *waveform)
{
    return isfinite(waveform->rms) && isfinite(waveform->noise) && isfinite(waveform->peak_gap) &&
           isfinite(waveform->rectified);
}

static bool measurable(const struct series *series)
{
    return series->count >= FEWEST_SAMPLES && series->count <= series_most &&
           series->interval > 0.0 && isfinite(series->interval) && series->scale > 0.0 &&
           isfinite(series->scale) && isfinite(series->offset);
}

/* From stored units to values, with what follows from them. */
static void to_values(const struct series *series, const struct averages *averages, double minimum,
                      double maximum, struct waveform *waveform)
{
    waveform->mean = series_value(series, averages->mean);
    waveform->ac_rms = series->scale * sqrt(averages->mean_square);
    waveform->rms = hypot(waveform->mean, waveform->ac_rms);
    waveform->rectified = series->scale * averages->magnitude;
    waveform->minimum = series_value(series, minimum);
    waveform->maximum = series_value(series, maximum);
    waveform->peak_to_peak = series->scale * (maximum - minimum);
    waveform->noise *= series->scale;
    waveform->peak_gap *= series->scale;
    double peak = fmax(fabs(waveform->minimum), fabs(waveform->maximum));
    waveform->crest_factor = waveform->rms > 0.0 ? peak / waveform->rms : NAN;
    waveform->form_factor = waveform->rectified > 0.0 ? waveform->rms / waveform->rectified : NAN;
}

/* With `periodic`, mean and RMS over whole periods where there are any. */
static bool measure(const struct series *series, bool periodic, struct waveform *waveform)
{
    double minimum, maximum;
    if (!measurable(series) || !series_extremes(series, 0, series->count, &minimum, &maximum) ||
        !isfinite(maximum - minimum))
        return false;
    double noise = estimate_noise(series, maximum - minimum);
    struct waveform seen = {
        .count = series->count,
        .interval = series->interval,
        .noise = noise,
        .peak_gap = estimate_peak_gap(series, minimum, maximum, noise),
    };
    struct stretch stretch = { 0.0, 0.0, 0.0 };
    if (periodic)
        stretch = period_find(series, minimum, maximum, seen.noise);
    seen.periods = stretch.periods;
    seen.frequency = period_frequency(&stretch) / series->interval;
    seen.frequency_uncertainty =
        seen.frequency *
        period_frequency_uncertainty(series, &stretch, minimum, maximum, seen.noise);
    struct averages averages =
        period_average(series, &stretch, minimum + (maximum - minimum) / 2.0);
    to_values(series, &averages, minimum, maximum, &seen);
    if (!all_finite(&seen))
        return false;
    *waveform = seen;
    return true;
}

bool waveform_measure_series(const struct series *series, struct waveform *waveform)
{
    return measure(series, true, waveform);
}

bool waveform_measure_whole(const struct series *series, struct waveform *waveform)
{
    return measure(series, false, waveform);
}

double waveform_aspect(const struct waveform *waveform, enum aspect aspect)
{
    const double values[] = {
        [ASPECT_DC] = waveform->mean,
        [ASPECT_AC] = waveform->ac_rms,
        [ASPECT_RMS] = waveform->rms,
        [ASPECT_PEAK_TO_PEAK] = waveform->peak_to_peak,
        [ASPECT_MAXIMUM] = waveform->maximum,
        [ASPECT_MINIMUM] = waveform->minimum,
        [ASPECT_WHOLE] = NAN,
    };
    return values[aspect];
}

/*
 * White noise of n samples reaches from about -sqrt(2 ln n) sigma to the same
 * above (extreme values of the normal distribution; from memory). With a third added, by chance
 * it does not reach beyond.
 */
static double reach_of_noise(const struct waveform *waveform)
{
    return 1.3 * 2.0 * sqrt(2.0 * log((double)waveform->count)) * waveform->noise;
}

/* Fewer samples a period than this leave its shape, its noise and its extremes unknown. */
static const double fewest_per_period = 8.0;

enum wave_reason waveform_unfit(const struct waveform *waveform, double low, double high,
                                double step)
{
    if (waveform->minimum <= low || waveform->maximum >= high)
        return WAVE_CLIPPED;
    if (waveform->peak_to_peak <= fmax(3.0 * step, 0.0))
        return WAVE_FLAT;
    if (waveform->periods > 0.0) {
        bool enough = waveform->frequency * waveform->interval * fewest_per_period <= 1.0;
        return enough ? WAVE_NONE : WAVE_FEW_SAMPLES;
    }
    return waveform->peak_to_peak <= reach_of_noise(waveform) ? WAVE_NOISY : WAVE_NOT_PERIODIC;
}
