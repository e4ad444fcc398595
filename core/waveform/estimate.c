/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "estimate.h"

#include "ceiling.h"
#include "crest.h"
#include "cusp.h"
#include "extreme.h"
#include "fold.h"
#include "rhythm.h"
#include "sharpen.h"
#include "sine_check.h"
#include "steadiness.h"

#include <math.h>

/*
 * Where two edges lie and what the frequency is hang together, which moves a mean a little more
 * than each on its own (counted in tests/core/test_coverage_shapes.c).
 */
static const double together = 1.2;

/*
 * Of what all samples leave open for an extreme, so much stays, in standard deviations, for
 * what the shapes that core/waveform/crest knows are not quite.
 */
static const double least_open = 0;

/* No sample is further out than noise throws the worst one in 1 record of 1000. */
static const double surely = 0.999;

/* A step between two samples that is more than this, in sigma of the noise, is an edge. */
static const double edge_sigmas = 6.0;

/*
 * From this variance on, in squares of a step, the noise makes roundings independent: half a step of
 * it beside the rounding's own twelfth. The mean of many is then off by no more than
 * exp(-2 pi^2 / 4) / pi, 0.2 % of a step (first harmonic of the rounding error over a normal law;
 * own derivation), and what flickers between two codes only has a quarter.
 */
static const double dither = 1.0 / 3;

static double noise_of(const struct waveform *waveform, double step)
{
    return fmax(waveform->noise, step / sqrt(12));
}

/*
 * From n samples in white noise the least squares know an offset to noise / sqrt(n), and to
 * sqrt(2) times that what a harmonic adds anywhere. The odd ones turn over from crest to trough
 * and count twice in between, the even ones not at all. A peak-to-peak value is one of two
 * roundings to begin with.
 */
static struct estimate of_sine(const struct sine_figures *sine, enum aspect aspect)
{
    double of_mean = sine->noise / sqrt(sine->samples);
    double alternating = sine->amplitude * sqrt(0.5);
    double variances = 1 + 2 * sine->harmonics;
    struct estimate seen = { .mean = sine->offset };
    if (aspect_is_rms(aspect)) {
        seen.value = aspect_ignores_mean(aspect) ? alternating : hypot(sine->offset, alternating);
        seen.scatter = of_mean;
        seen.averaged = sine->roundings;
    } else if (aspect_end(aspect) == 0) {
        seen.value = sine->crest - sine->trough;
        seen.scatter = sqrt(8 * sine->odd) * of_mean;
        seen.averaged = 2 * sine->roundings / (8 * sine->odd);
    } else {
        seen.value = aspect_end(aspect) < 0 ? sine->trough : sine->crest;
        seen.scatter = sqrt(variances) * of_mean;
        seen.averaged = sine->roundings / variances;
    }
    return seen;
}

/*
 * Away from zero, so that of a minimum `seen` is turned over. That it is a single sample that is
 * the extreme, with all of its noise, cannot be ruled out.
 */
static struct estimate of_extreme(const struct waveform *waveform, double seen, double step)
{
    double noise = noise_of(waveform, step);
    double least = seen - noise * extreme_mean((double)waveform->count);
    double most = seen + waveform->peak_gap;
    return (struct estimate) { .value = (least + most) / 2,
                               .scatter = noise,
                               .doubt = (most - least) / 2 };
}

/* What noise at the two instants that end the periods does to a mean of squares, halved to RMS. */
static double ends(const struct waveform *waveform)
{
    double share = waveform->frequency_uncertainty / waveform->frequency;
    return waveform->periods > 0 && isfinite(share) ? share / 2 : 0;
}

/*
 * The most that the noise may be. The median of second differences of whole codes is one, two ...
 * steps, which leaves it open by a third of a step, by chance by four thirds of its own standard
 * deviation in the root of the number of samples, times three; a level that flickers
 * between two codes has up to half a step of it.
 */
static double most_noise(const struct waveform *waveform, double step)
{
    return noise_of(waveform, step) * (1 + 4 / sqrt((double)waveform->count)) + 0.35 * step;
}

static struct estimate of_alternating(const struct waveform *waveform, double step)
{
    double noise = noise_of(waveform, step);
    double taken = most_noise(waveform, step);
    double most = waveform->ac_rms;
    double least = sqrt(fmax(0, (most - taken) * (most + taken)));
    double value = (least + most) / 2;
    return (struct estimate) { .value = value,
                               .scatter = hypot(noise / sqrt((double)waveform->count),
                                                ends(waveform) * value),
                               .doubt = (most - least) / 2 };
}

/* The mean's square is added, and moves the RMS by the share that is alternating the less. */
static struct estimate with_level(const struct estimate *alternating, const struct waveform *wave,
                                  double step)
{
    double value = hypot(wave->mean, alternating->value);
    double share = value > 0 ? alternating->value / value : 1;
    return (struct estimate) { .value = value,
                               .scatter = hypot(noise_of(wave, step) / sqrt((double)wave->count),
                                                ends(wave) * value),
                               .doubt = alternating->doubt * share };
}

static struct estimate of_any(const struct waveform *waveform, enum aspect aspect, double step)
{
    struct estimate high = of_extreme(waveform, waveform->maximum, step);
    struct estimate low = of_extreme(waveform, -waveform->minimum, step);
    struct estimate alternating = of_alternating(waveform, step);
    if (aspect_is_rms(aspect))
        return aspect_ignores_mean(aspect) ? alternating : with_level(&alternating, waveform, step);
    if (aspect_end(aspect) == 0)
        return (struct estimate) { .value = high.value + low.value,
                                   .scatter = hypot(high.scatter, low.scatter),
                                   .doubt = high.doubt + low.doubt };
    low.value = -low.value;
    return aspect_end(aspect) < 0 ? low : high;
}

/* How far the step between the samples i - 1 and i goes the same way as another one, `size`. */
static double onwards(const struct series *series, size_t i, double size)
{
    double step = series->scale * (series_at(series, i) - series_at(series, i - 1));
    return fmax(0, copysign(1, size) * step);
}

/*
 * By how much a mean is uncertain because edges lie somewhere between two samples. A step counts
 * by what it is larger than those on both sides that go on its way: a sine's and a ramp's are as
 * large as their neighbours, and cost a mean over whole periods nothing. In a periodic record an
 * edge may be between the same two samples each time: the rising ones are all off by up to half
 * an interval, and the falling ones, on their own. Each lies evenly in its interval; of both sums the
 * bound is that of a triangular law of as much variance.
 *
 * about  for a mean of squares, where it is taken about; NAN for a plain mean
 */
static double edges_in(const struct series *series, double noise, double about)
{
    double rising = 0, falling = 0;
    for (size_t i = 2; i + 1 < series->count; i++) {
        double before = series_value(series, series_at(series, i - 1));
        double after = series_value(series, series_at(series, i));
        double step = after - before;
        double edge = fabs(step) - onwards(series, i - 1, step) - onwards(series, i + 1, step);
        if (edge > edge_sigmas * noise)
            *(step > 0 ? &rising : &falling) +=
                edge * (isnan(about) ? 1 : fabs(before + after - 2 * about));
    }
    return hypot(rising, falling) * sqrt(2) / 2 / (double)series->count;
}

/* What that does to the value. */
static double edges_of(const struct series *series, const struct waveform *waveform,
                       enum aspect aspect, double step)
{
    double noise = noise_of(waveform, step);
    if (aspect == ASPECT_DC)
        return edges_in(series, noise, NAN);
    double value = aspect == ASPECT_AC ? waveform->ac_rms : waveform->rms;
    double about = aspect == ASPECT_AC ? waveform->mean : 0;
    bool squares = aspect_is_rms(aspect) && value > 0;
    return squares ? edges_in(series, noise, about) / (2 * value) : 0;
}

/* A mean, ac or RMS of a record folded over its period. */
static struct estimate of_averages(const struct fold_averages *seen, enum aspect aspect,
                                   double noise, double step)
{
    double alternating = sqrt(seen->mean_square);
    bool dithered = noise * noise >= dither * step * step;
    struct estimate estimate = { .value = seen->mean,
                                 .mean = seen->mean,
                                 .scatter = noise * seen->spread,
                                 .edges = seen->edges,
                                 .averaged = dithered ? 1 / (seen->spread * seen->spread) : 1 };
    if (aspect == ASPECT_AC) {
        estimate.value = alternating;
        estimate.edges = seen->square_edges / (2 * alternating);
    }
    if (aspect == ASPECT_RMS) {
        estimate.value = hypot(seen->mean, alternating);
        estimate.edges = seen->level_edges / (2 * estimate.value);
    }
    return estimate;
}

static bool find_rhythm(const struct series *series, const struct waveform *waveform, double noise,
                        struct rhythm *rhythm)
{
    if (!(waveform->periods > 0) ||
        !rhythm_find(series, (waveform->minimum - series->offset) / series->scale,
                     (waveform->maximum - series->offset) / series->scale, noise / series->scale,
                     waveform->frequency * series->interval, rhythm))
        return false;
    rhythm_sharpen(series, noise / series->scale, rhythm);
    return true;
}

/*
 * What edges leave open is no more than the gaps between all places that samples fall on, and
 * what the frequency may be: at each of its ends, and halfway to them, the record is folded once more. The
 * gaps are widest at the frequency itself and close to both sides of it, and an edge is as likely to
 * be anywhere: the frequency has about a triangular law (own derivation).
 */
static bool of_fold(const struct series *series, const struct waveform *waveform,
                    enum aspect aspect, double step, struct estimate *estimate)
{
    struct fold fold;
    struct rhythm rhythm;
    double noise = noise_of(waveform, step);
    if (!find_rhythm(series, waveform, noise, &rhythm))
        return false;
    double middle = rhythm.frequency, below = rhythm.least, above = rhythm.most;
    double frequencies[] = { middle, below, (below + middle) / 2, (middle + above) / 2, above };
    double moved = 0;
    for (size_t i = 0; i < sizeof frequencies / sizeof *frequencies; i++) {
        if (!fold_make(series, frequencies[i], noise, &fold))
            return false;
        struct fold_averages averages = fold_average(&fold);
        struct estimate each =
            of_averages(&averages, aspect, fmax(fold.noise, step / sqrt(12)), step);
        if (i == 0)
            *estimate = each;
        moved = fmax(moved, fabs(each.value - estimate->value));
    }
    estimate->edges = hypot(estimate->edges, moved) * (aspect == ASPECT_DC ? together : 1);
    return isfinite(estimate->value);
}

/*
 * The crest of the folded record, if what all samples show agrees with it, to what it may reach
 * besides; the value is the middle.
 */
static bool one_crest(const struct series *series, const struct waveform *waveform,
                      const struct fold *fold, double frequency, double sign, double step,
                      struct estimate *estimate)
{
    struct crest crest;
    double noise = fmax(fold->noise, step / sqrt(12));
    double seen = sign > 0 ? waveform->maximum : -waveform->minimum;
    if (!(noise > 0) || !fold_crest(fold, sign, noise, &crest))
        return false;
    double above = seen - sign * crest.value;
    double most = noise * extreme_quantile((double)waveform->count, surely) + step / 2;
    bool dithered = noise * noise >= dither * step * step;
    struct wander wander = wander_of(series, frequency, noise, &crest);
    double ceiling =
        sign * ceiling_of_fold(fold, &crest, frequency, (double)waveform->count, noise);
    double higher =
        fmax(fmax(wander.most, ceiling - sign * crest.value), cusp_above(fold, &crest, noise));
    if (wander.certain || !isfinite(higher))
        return false;
    *estimate = (struct estimate) { .value = crest.value + sign * higher / 2,
                                    .scatter = crest.scatter,
                                    .doubt = crest.doubt + higher / 2,
                                    .averaged = dithered ? fmax(crest.samples, 1) : 1 };
    return above <= most + crest.doubt + 3 * crest.scatter &&
           above >= -waveform->peak_gap - crest.doubt - 3 * crest.scatter - step / 2;
}

/* Extremes of a record folded over its period. */
static bool of_crests(const struct series *series, const struct waveform *waveform,
                      enum aspect aspect, double step, struct estimate *estimate)
{
    struct fold fold;
    struct rhythm rhythm;
    double noise = noise_of(waveform, step);
    if (!find_rhythm(series, waveform, noise, &rhythm) ||
        !fold_make(series, rhythm.frequency, noise, &fold))
        return false;
    fold.noise = fmax(fold.noise, step / sqrt(12));
    struct estimate high, low;
    if (aspect_end(aspect) != 0)
        return one_crest(series, waveform, &fold, rhythm.frequency, aspect_end(aspect), step,
                         estimate);
    if (!one_crest(series, waveform, &fold, rhythm.frequency, 1, step, &high) ||
        !one_crest(series, waveform, &fold, rhythm.frequency, -1, step, &low))
        return false;
    *estimate = (struct estimate) { .value = high.value - low.value,
                                    .scatter = hypot(high.scatter, low.scatter),
                                    .doubt = high.doubt + low.doubt,
                                    .averaged = fmin(high.averaged, low.averaged) };
    return true;
}

/* Whether its crest, or its trough, is known to differ from period to period by more than noise. */
static bool wanders(const struct series *series, const struct waveform *waveform, double step)
{
    struct fold fold;
    struct rhythm rhythm;
    struct crest crest;
    double noise = noise_of(waveform, step);
    if (!find_rhythm(series, waveform, noise, &rhythm) ||
        !fold_make(series, rhythm.frequency, noise, &fold))
        return false;
    noise = fmax(fold.noise, step / sqrt(12));
    for (int sign = -1; sign <= 1; sign += 2)
        if (fold_crest(&fold, sign, noise, &crest) &&
            wander_of(series, rhythm.frequency, noise, &crest).certain)
            return true;
    return false;
}

/* As if the signal were the same in all of the record; it is folded only where it is `alike`. */
static struct estimate estimate_steady(const struct series *series, const struct waveform *waveform,
                                       enum aspect aspect, double step, bool alike)
{
    struct sine_figures sine;
    struct estimate estimate = { .value = waveform_aspect(waveform, aspect),
                                 .mean = waveform->mean,
                                 .averaged = 1 };
    if (aspect == ASPECT_WHOLE)
        return estimate;
    if (aspect != ASPECT_DC && waveform->periods > 0 &&
        sine_check(series, waveform->frequency, step, &sine) &&
        (aspect_averages(aspect) || !wanders(series, waveform, step)))
        return of_sine(&sine, aspect);
    if (aspect == ASPECT_DC)
        estimate.scatter = waveform->noise / sqrt((double)waveform->count);
    else
        estimate = of_any(waveform, aspect, step);
    estimate.mean = waveform->mean;
    estimate.averaged = 1;
    estimate.edges = edges_of(series, waveform, aspect, step);
    struct estimate folded;
    if (!aspect_averages(aspect) && of_crests(series, waveform, aspect, step, &folded) &&
        hypot(folded.scatter, folded.doubt) < hypot(estimate.scatter, estimate.doubt)) {
        folded.mean = estimate.mean;
        folded.scatter = fmax(folded.scatter, least_open * estimate.doubt);
        return folded;
    }
    if (alike && estimate.edges > estimate.scatter && aspect_averages(aspect) &&
        of_fold(series, waveform, aspect, step, &folded) && folded.edges < estimate.edges)
        return folded;
    return estimate;
}

struct estimate estimate_aspect(const struct series *series, const struct waveform *waveform,
                                enum aspect aspect, double step)
{
    struct steadiness seen = { 0, false };
    if (aspect_averages(aspect))
        seen = steadiness_of(series, waveform, aspect, noise_of(waveform, step),
                             edges_of(series, waveform, aspect, step), step);
    struct estimate estimate = estimate_steady(series, waveform, aspect, step, !(seen.scatter > 0));
    estimate.scatter = hypot(estimate.scatter, seen.scatter);
    estimate.passing = seen.passing;
    return estimate;
}
