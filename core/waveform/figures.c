/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "figures.h"

#include "edges.h"
#include "harmonics.h"
#include "pace.h"
#include "rhythm.h"
#include "sine_check.h"
#include "sine_fit.h"
#include "state_level.h"

#include <math.h>

static const double uniform_sigma = 0.28867513459481288;

/* Blocks on an edge, and share of the amplitude that noise of a block may be, for its durations. */
enum { FEWEST_INSIDE = 2 };
static const double most_noise = 0.03;

/* A peak that stands so many sigma above what noise throws up is the signal's. */
static const double clear_of_noise = 4;

/* From where on neighbours are off together by more than chance has them in white noise. */
static const double surely_together = 1.25;

/* A fold that is no more than so much worse than a sine shows noise, and not what it hides. */
static const double as_noisy = 1.2;

/* Samples of the shortest state. */
static const double fewest_in_state = 3;

/* What all of them need. Stored units and samples. */
struct look {
    const struct series *series;
    const struct waveform *waveform;
    double noise; /* of one sample, without rounding where that hides it */
    double
        rounding; /* standard deviation of what a step hides, where noise does not dither it; else 0 */
    double minimum, maximum;
    bool sine;
    enum wave_reason states; /* why there are none */
    struct levels levels;
    struct state_level low, high;
    struct edges edges;
    const struct edge_side *rise;
    const struct edge_side *fall;
};

static struct figure lacking(enum wave_reason reason)
{
    return (struct figure) { reason, NAN, NAN, NAN, NAN, 1 };
}

/* In samples to seconds, or by whatever else a figure is to be multiplied. */
static struct figure scaled(struct figure figure, double scale)
{
    figure.value *= scale;
    figure.scatter *= scale;
    figure.doubt *= scale;
    figure.at_most *= scale;
    return figure;
}

static struct figure found(double value, double scatter, double doubt)
{
    return (struct figure) { WAVE_NONE, value, scatter, doubt, NAN, 1 };
}

/* Of a sine all samples tell, as white noise leaves it or neighbours that are off together; roundings that may repeat with the phase count as those of one period. */
static bool sine_frequency(struct look *look, struct figure *figure)
{
    struct sine_figures sine;
    struct sine_fit fit;
    double frequency = look->waveform->frequency, step = look->series->step * look->series->scale;
    if (!sine_check(look->series, frequency, step, &sine) ||
        sine_fit_four(look->series, frequency, &fit) != WAVE_NONE)
        return false;
    double rounding = look->rounding * look->series->scale;
    double repeats = fmax(frequency * look->series->interval * (double)look->series->count, 1);
    double more = rounding * sqrt(repeats) / fmax(fit.residual, 1e-12 * fit.amplitude);
    struct pace pace;
    double interval = look->series->interval;
    *figure = found(fit.frequency, fit.frequency_uncertainty * hypot(1, more), 0);
    if (pace_find(look->series, look->noise, fit.frequency * interval, &pace) &&
        pace.together > surely_together &&
        pace.noise * look->series->scale < as_noisy * fit.residual)
        figure->scatter = fmax(figure->scatter, pace.standard / interval);
    return true;
}

static struct figure frequency_of(struct look *look)
{
    const struct waveform *waveform = look->waveform;
    double interval = look->series->interval;
    struct rhythm rhythm;
    struct figure figure;
    enum wave_reason lack =
        waveform_unfit(waveform, -INFINITY, INFINITY, look->series->step * look->series->scale);
    if (lack != WAVE_NONE)
        return lacking(lack);
    look->sine = sine_frequency(look, &figure);
    if (look->sine)
        return figure;
    if (rhythm_find(look->series, look->minimum, look->maximum, look->noise,
                    waveform->frequency * interval, &rhythm) &&
        rhythm.most > rhythm.least)
        return found(rhythm.frequency / interval, 0, (rhythm.most - rhythm.least) / 2 / interval);
    if (!isfinite(waveform->frequency_uncertainty))
        return lacking(WAVE_NOISY);
    return found(waveform->frequency, waveform->frequency_uncertainty, 0);
}

/* Of what is seen on an edge: roundings differ from sample to sample there. */
static double edge_sigma(const struct look *look)
{
    double one = fmax(look->noise, look->series->step * uniform_sigma);
    return one / sqrt(look->edges.block);
}

/* What lies between blocks may do to an instant, samples: the parabola through them bends as their mean. */
static double hidden_at(const struct look *look, const struct edge_side *side,
                        enum reference_level reference)
{
    static const double third_difference = 20; /* variance in that of one block */
    double sigma = edge_sigma(look);
    double bent = sqrt(fmax(side->bent[reference] - third_difference * sigma * sigma, 0));
    return fmin(bent / 16 / side->slope[reference], look->edges.block / 2);
}

/* What errors of both levels do, by how much each counts: standard uncertainty and bound. */
struct shares {
    double standard;
    double bound;
};

static struct shares by_levels(const struct look *look, double low, double high)
{
    return (struct shares) { hypot(low * look->low.standard, high * look->high.standard),
                             fabs(low) * look->low.doubt + fabs(high) * look->high.doubt };
}

/* From the middle of where all rises leave their instant to that of the falls. False where they contradict. */
static bool width_by_bounds(const struct look *look, double period, double period_doubt,
                            struct figure *figure)
{
    const struct edge_side *rise = look->rise, *fall = look->fall;
    double rise_room = (rise->latest - rise->earliest) / 2;
    double fall_room = (fall->latest - fall->earliest) / 2;
    if (!(period > 0) || !(rise_room > 0) || !(fall_room > 0))
        return false;
    double turns = (double)(rise->count > fall->count ? rise->count : fall->count);
    double apart = (fall->latest + fall->earliest - rise->latest - rise->earliest) / 2;
    *figure = found(apart - floor(apart / period) * period, 0,
                    hypot(hypot(rise_room, fall_room), period_doubt * turns / 3));
    return true;
}

/* In samples. */
static struct figure width_of(const struct look *look, double period, double period_doubt)
{
    const struct edge_side *rise = look->rise, *fall = look->fall;
    struct figure figure;
    bool steep = rise->fewest_inside < FEWEST_INSIDE || fall->fewest_inside < FEWEST_INSIDE;
    if (rise->count == 0 || fall->count == 0)
        return lacking(WAVE_NO_EDGE);
    if (steep && width_by_bounds(look, period, period_doubt, &figure))
        return figure;
    if (rise->states == 0)
        return lacking(WAVE_NO_EDGE);
    if (!(rise->state >= fewest_in_state))
        return lacking(WAVE_FEW_SAMPLES);
    double jitter = edge_sigma(look) *
                    hypot(sqrt(rise->share) / rise->slope[REFERENCE_50],
                          sqrt(fall->share) / fall->slope[REFERENCE_50]) /
                    sqrt((double)rise->states);
    double both = (1 / rise->slope[REFERENCE_50] + 1 / fall->slope[REFERENCE_50]) / 2;
    struct shares levels = by_levels(look, both, both);
    double hidden = hypot(hidden_at(look, rise, REFERENCE_50), hidden_at(look, fall, REFERENCE_50));
    return found(rise->state, hypot(jitter, levels.standard), hypot(hidden, levels.bound));
}

/* 10 to 90 % in samples. Errors of the two levels move the instants apart. */
static struct figure duration_of(const struct look *look, const struct edge_side *side)
{
    const double *slope = side->slope;
    if (side->count == 0)
        return lacking(WAVE_NO_EDGE);
    if (side->fewest_inside < FEWEST_INSIDE) {
        struct figure figure = lacking(WAVE_FEW_SAMPLES);
        /* One more than lies between the last block in a state and the first in the other, for noise. */
        figure.at_most = (double)(side->fewest_inside + 2) * look->edges.block;
        return figure;
    }
    double amplitude = look->levels.high - look->levels.low, sigma = edge_sigma(look);
    if (!(sigma <= most_noise * amplitude))
        return lacking(WAVE_NOISY);
    double jitter = sigma * hypot(1 / slope[REFERENCE_10], 1 / slope[REFERENCE_90]) *
                    sqrt(side->share / (double)side->count);
    struct shares levels = by_levels(look, 0.9 / slope[REFERENCE_10] - 0.1 / slope[REFERENCE_90],
                                     0.1 / slope[REFERENCE_10] - 0.9 / slope[REFERENCE_90]);
    double hidden = hypot(hidden_at(look, side, REFERENCE_10), hidden_at(look, side, REFERENCE_90));
    return found(side->duration, hypot(jitter, levels.standard), hypot(hidden, levels.bound));
}

/*
 * Noise lifts what is highest of many; a peak that stands clear of that is lifted by no more than the
 * few samples at its top are, another one may be all noise.
 */
static struct figure overshoot_of(const struct look *look)
{
    const struct edge_side *side = look->rise;
    if (side->count == 0)
        return lacking(WAVE_NO_EDGE);
    if (side->fewest_inside < FEWEST_INSIDE)
        return lacking(WAVE_FEW_SAMPLES);
    double amplitude = look->levels.high - look->levels.low;
    double sigma = hypot(look->noise / sqrt(look->edges.block), look->rounding);
    double lift = sigma * sqrt(2 * log(fmax((double)look->edges.looked, 2)));
    bool clear = side->peak > lift + clear_of_noise * sigma;
    double most = side->peak + side->gap;
    double least = clear ? fmax(side->peak - 1.5 * sigma, 0) : 0;
    struct shares levels = by_levels(look, side->peak / amplitude, 1 + side->peak / amplitude);
    return found((most + least) / 2 / amplitude,
                 hypot(levels.standard, sigma / sqrt((double)side->count)) / amplitude,
                 hypot((most - least) / 2, levels.bound) / amplitude);
}

/* What a step hides where no noise dithers it is the caller's, by `averaged`. */
static struct figure amplitude_of(const struct look *look)
{
    double low = sqrt(fmax(pow(look->low.standard, 2) - pow(look->rounding, 2), 0));
    double high = sqrt(fmax(pow(look->high.standard, 2) - pow(look->rounding, 2), 0));
    struct figure figure = found(look->levels.high - look->levels.low, hypot(low, high),
                                 look->low.doubt + look->high.doubt);
    figure.averaged = fmin(look->low.averaged, look->high.averaged);
    return scaled(figure, look->series->scale);
}

static struct figure distortion_of(const struct look *look, struct figures *figures)
{
    const struct waveform *waveform = look->waveform;
    struct harmonics harmonics;
    enum wave_reason lack = figures->of[FIGURE_FREQUENCY].lack;
    if (lack == WAVE_NONE && look->states == WAVE_NONE)
        lack = WAVE_NOT_SINE;
    if (lack == WAVE_NONE)
        lack = harmonics_measure(look->series, waveform->frequency,
                                 look->series->step * look->series->scale, &harmonics);
    if (lack != WAVE_NONE)
        return lacking(lack);
    figures->orders = harmonics.orders;
    return found(harmonics.thd, harmonics.standard, harmonics.doubt);
}

/* One over it, or times it: relative uncertainties add in squares. */
static struct figure period_from(const struct figure *frequency)
{
    double period = 1 / frequency->value;
    return frequency->lack != WAVE_NONE ? *frequency
                                        : found(period, frequency->scatter * period * period,
                                                frequency->doubt * period * period);
}

static struct figure duty_from(const struct figure *width, const struct figure *frequency)
{
    if (frequency->lack != WAVE_NONE || width->lack != WAVE_NONE)
        return lacking(frequency->lack != WAVE_NONE ? frequency->lack : width->lack);
    return found(width->value * frequency->value,
                 hypot(width->scatter * frequency->value, width->value * frequency->scatter),
                 hypot(width->doubt * frequency->value, width->value * frequency->doubt));
}

/* The slope of the straight line through all 50 % instants, least squares, where edges have samples on them. */
static void frequency_by_edges(const struct look *look, struct figure *frequency)
{
    double turns = frequency->value * look->series->interval * (double)look->series->count;
    const struct edge_side *sides[] = { &look->edges.rise, &look->edges.fall };
    double products = 0, squares = 0, variance = 0;
    for (size_t i = 0; i < 2; i++) {
        const struct edge_side *side = sides[i];
        double n = (double)side->count;
        double sigma = edge_sigma(look) * sqrt(side->share) / side->slope[REFERENCE_50];
        double hidden = hidden_at(look, side, REFERENCE_50);
        if (!(fabs(n - turns) <= 1.5) || n == 0 || side->fewest_inside < FEWEST_INSIDE)
            return;
        products += side->products - side->numbers * side->instants / n;
        squares += side->squares - side->numbers * side->numbers / n;
        variance = fmax(variance, sigma * sigma + hidden * hidden / 3);
    }
    double period = products / squares;
    if (squares > 0 && period > 0)
        *frequency = scaled(found(1 / period, sqrt(variance / squares) / period / period, 0),
                            1 / look->series->interval);
}

/* By all slopes where that leaves less open, or knows of noise that is not white, if steep edges, which leave a bound only, do not contradict. */
static void frequency_by_slopes(const struct look *look, struct figure *frequency)
{
    struct pace pace;
    double interval = look->series->interval;
    if (!pace_find(look->series, look->noise, frequency->value * interval, &pace))
        return;
    struct figure figure = found(pace.frequency / interval, pace.standard / interval, 0);
    bool contradicts =
        frequency->scatter == 0 && fabs(figure.value - frequency->value) > frequency->doubt;
    bool better = 2 * figure.scatter < 2 * frequency->scatter + frequency->doubt;
    if (!contradicts && (better || pace.together > surely_together))
        *frequency = figure;
}

/* From the histogram's modes to what the later parts of all states say. */
static void settle_levels(struct look *look)
{
    const struct series *series = look->series;
    struct edges *edges = &look->edges;
    look->low = state_level(series, look->levels.low, look->noise);
    look->high = state_level(series, look->levels.high, look->noise);
    look->levels.low = look->low.level;
    look->levels.high = look->high.level;
    edges_find(series, &look->levels, NAN, look->noise, edges);
    look->low =
        state_settled(series, &look->low, &edges->fall.early, &edges->fall.late, look->noise);
    look->high =
        state_settled(series, &look->high, &edges->rise.early, &edges->rise.late, look->noise);
    look->levels.low = look->low.level;
    look->levels.high = look->high.level;
}

/* Of what has no states the ways between its extremes are edges all the same. */
static void frequency_by_extremes(struct look *look, struct figure *frequency)
{
    const struct levels extremes = { look->minimum, look->maximum, 1, 1 };
    double period = 1 / (frequency->value * look->series->interval);
    edges_find(look->series, &extremes, period, look->noise, &look->edges);
    frequency_by_edges(look, frequency);
    frequency_by_slopes(look, frequency);
}

static void measure_states(struct look *look, struct figures *figures)
{
    struct figure *frequency = &figures->of[FIGURE_FREQUENCY];
    double interval = look->series->interval;
    double period = frequency->lack == WAVE_NONE ? 1 / (frequency->value * interval) : NAN;
    double relative = (2 * frequency->scatter + frequency->doubt) / frequency->value;
    settle_levels(look);
    edges_find(look->series, &look->levels, period, look->noise, &look->edges);
    if (frequency->lack == WAVE_NONE && !look->sine) {
        frequency_by_edges(look, frequency);
        frequency_by_slopes(look, frequency);
    }
    look->rise = &look->edges.rise;
    look->fall = &look->edges.fall;
    struct figure width = width_of(look, period, period * relative);
    figures->of[FIGURE_PULSE_WIDTH] = scaled(width, interval);
    figures->of[FIGURE_RISE] = scaled(duration_of(look, look->rise), interval);
    figures->of[FIGURE_FALL] = scaled(duration_of(look, look->fall), interval);
    figures->of[FIGURE_OVERSHOOT] = overshoot_of(look);
    figures->of[FIGURE_AMPLITUDE] = amplitude_of(look);
    figures->of[FIGURE_DUTY] = duty_from(&figures->of[FIGURE_PULSE_WIDTH], frequency);
}

struct timebase_need figure_need(enum figure_kind kind)
{
    static const struct timebase_need needs[FIGURE_COUNT] = {
        [FIGURE_FREQUENCY] = { 10, 20 },
        [FIGURE_PERIOD] = { 10, 20 },
        [FIGURE_DUTY] = { 5, 50 },
        [FIGURE_PULSE_WIDTH] = { 5, 50 },
        [FIGURE_RISE] = { 2, INFINITY },
        [FIGURE_FALL] = { 2, INFINITY },
        [FIGURE_OVERSHOOT] = { 2, INFINITY },
        [FIGURE_AMPLITUDE] = { 2, 50 },
        [FIGURE_DISTORTION] = { 5, 90 },
    };
    return needs[kind];
}

void figures_lack(struct figures *figures, enum wave_reason reason)
{
    figures->orders = 0;
    for (size_t i = 0; i < FIGURE_COUNT; i++)
        figures->of[i] = lacking(reason);
}

/* False where a sample is not finite. */
static bool begin(struct look *look, const struct series *series, const struct waveform *waveform)
{
    *look = (struct look) { .series = series,
                            .waveform = waveform,
                            .noise = waveform->noise / series->scale };
    look->rounding = state_dithered(series, look->noise) ? 0 : series->step * uniform_sigma;
    if (!series_extremes(series, 0, series->count, &look->minimum, &look->maximum))
        return false;
    look->states = levels_find(series, look->minimum, look->maximum, look->noise, &look->levels);
    return true;
}

void figures_measure(const struct series *series, const struct waveform *waveform,
                     struct figures *figures)
{
    struct look look;
    figures_lack(figures, WAVE_BAD_SAMPLES);
    if (!begin(&look, series, waveform))
        return;
    figures_lack(figures, look.states);
    figures->of[FIGURE_FREQUENCY] = frequency_of(&look);
    figures->of[FIGURE_DISTORTION] = distortion_of(&look, figures);
    if (look.states == WAVE_NONE)
        measure_states(&look, figures);
    else if (!look.sine && figures->of[FIGURE_FREQUENCY].lack == WAVE_NONE)
        frequency_by_extremes(&look, &figures->of[FIGURE_FREQUENCY]);
    figures->of[FIGURE_PERIOD] = period_from(&figures->of[FIGURE_FREQUENCY]);
}

/* The phase is best known in the middle of the record; at one frequency for both, two are compared there. */
static bool sine_instant(const struct look *look, double frequency, struct figure *figure)
{
    static const double two_pi = 6.2831853071795865;
    double step = look->series->step * look->series->scale, n = (double)look->series->count;
    double rounding = look->rounding * look->series->scale;
    struct sine_figures sine;
    struct sine_fit fit;
    if (!sine_check(look->series, frequency, step, &sine) ||
        sine_fit_three(look->series, frequency, &fit) != WAVE_NONE)
        return false;
    double repeats = fmax(frequency * look->series->interval * n, 1);
    double turns = -(fit.phase / two_pi + 0.25);
    double radians = hypot(fit.residual, rounding * sqrt(repeats)) * sqrt(2 / n) / fit.amplitude;
    *figure = found((turns - floor(turns)) / frequency, radians / two_pi / frequency, 0);
    return true;
}

/* The rising edges' 50 % instant, in samples. */
static struct figure edge_instant(const struct look *look, double period, double period_doubt)
{
    const struct edge_side *side = &look->edges.rise;
    double n = (double)side->count, slope = side->slope[REFERENCE_50];
    if (side->count == 0)
        return lacking(WAVE_NO_EDGE);
    if (side->fewest_inside < FEWEST_INSIDE) {
        double room = (side->latest - side->earliest) / 2;
        return room > 0 ? found((side->latest + side->earliest) / 2, 0,
                                hypot(room, period_doubt * n / 3))
                        : lacking(WAVE_FEW_SAMPLES);
    }
    struct shares levels = by_levels(look, 0.5 / slope, 0.5 / slope);
    double jitter = edge_sigma(look) * sqrt(side->share / n) / slope;
    return found((side->instants - side->numbers * period) / n, hypot(jitter, levels.standard),
                 hypot(hidden_at(look, side, REFERENCE_50), period_doubt) + levels.bound);
}

/* Of what has no states the middle between the extremes; noise lifts either by about the same. */
static void middle_of_extremes(struct look *look)
{
    double standard = fmax(look->noise, look->series->step * uniform_sigma);
    look->levels = (struct levels) { look->minimum, look->maximum, 1, 1 };
    look->low = (struct state_level) { look->minimum, standard, 0, 1 };
    look->high = (struct state_level) { look->maximum, standard, 0, 1 };
}

struct figure figures_instant(const struct series *series, const struct waveform *waveform,
                              const struct figure *frequency)
{
    struct look look;
    struct figure figure;
    double period = 1 / (frequency->value * series->interval);
    double relative = (2 * frequency->scatter + frequency->doubt) / frequency->value;
    if (!begin(&look, series, waveform))
        return lacking(WAVE_BAD_SAMPLES);
    if (sine_instant(&look, frequency->value, &figure))
        return figure;
    if (look.states == WAVE_NONE)
        settle_levels(&look);
    else
        middle_of_extremes(&look);
    edges_find(series, &look.levels, period, look.noise, &look.edges);
    return scaled(edge_instant(&look, period, period * relative), series->interval);
}
