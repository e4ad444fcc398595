/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Whether a point can be measured at all, and without harm: can the
 * instrument do it, does the probe fit, does everything that is expected lie
 * inside what can be shown and inside the ratings.
 */
#include "core/basics/notation.h"
#include "core/input/chain.h"
#include "core/input/suitability.h"
#include "settings_priv.h"

#include <float.h>
#include <math.h>
#include <string.h>

static const double sine_crest = 1.4142135623730951;

/* Numbers that come out of a conversion may miss a bound by rounding. */
static const double rounding = 1e-9;

/* Where a key of the point or of its limits is written. */
static const config_setting_t *at(const struct point_check *check, const char *key)
{
    const config_setting_t *limits = strict_member(check->group, "limits");
    const config_setting_t *member = strict_member(check->group, key);

    if (member == NULL && limits != NULL)
        member = strict_member(limits, key);
    return member != NULL ? member : check->group;
}

/* A scope has a figure of the shape from what it has the swing from. */
static bool of_shape(const struct point_check *check)
{
    return check->instrument->profile->kind == PROFILE_SCOPE &&
           quantity_is_shape(check->point->quantity);
}

static enum aspect aspect_of(const struct point_check *check)
{
    return of_shape(check) ? ASPECT_PEAK_TO_PEAK : quantity_aspect(check->point->quantity);
}

/* Whether its values are those of the signal's level or swing, of which ranges and ratings speak. */
static bool of_level(const struct point_check *check)
{
    return !of_shape(check) || quantity_aspect(check->point->quantity) != ASPECT_WHOLE;
}

static bool can_measure(const struct point_check *check)
{
    const struct profile *profile = check->instrument->profile;
    char list[512] = "";
    size_t used = 0;

    if (check->input != NULL)
        return true;
    /* Sixteen names of at most 23 bytes fit. */
    for (size_t i = 0; i < profile->function_count && used < sizeof list; i++) {
        used += (size_t)snprintf(list + used, sizeof list - used, "%s%s", i > 0 ? ", " : "",
                                 quantity_name(profile->functions[i].quantity));
    }
    problems_at(check->problems, at(check, "quantity"),
                "instrument \"%s\" cannot measure %s, which is needed here, expected one of: %s",
                check->instrument->name, quantity_name(check->point->at_input),
                profile->kind == PROFILE_METER ? list : "any voltage, or what its shape says");
    return false;
}

static void check_input_number(const struct point_check *check)
{
    int inputs = profile_inputs(check->instrument->profile);

    if (check->point->input > inputs) {
        problems_at(check->problems, at(check, "input"),
                    "\"input\" is %d, expected 1 to %d: instrument \"%s\" has no more",
                    check->point->input, inputs, check->instrument->name);
    }
}

/* Keys that mean nothing for this aspect or kind would be lost in silence. */
static void check_useless(const struct point_check *check)
{
    enum aspect aspect = aspect_of(check);
    bool scope = check->function == NULL;

    if (!isnan(check->point->dc_level) && !aspect_ignores_mean(aspect)) {
        problems_at(check->problems, at(check, "dc_level"),
                    "\"dc_level\" with %s, expected it with ac and peak-to-peak quantities only",
                    quantity_name(check->point->quantity));
    }
    if (!isnan(check->point->crest_factor) && !aspect_is_rms(aspect)) {
        problems_at(check->problems, at(check, "crest_factor"),
                    "\"crest_factor\" with %s, expected it with ac and rms quantities only",
                    quantity_name(check->point->quantity));
    }
    if (!isnan(check->point->record) && !scope && strict_list(check->group, "ways") == NULL) {
        problems_at(check->problems, at(check, "record"),
                    "\"record\" with a meter, expected it with scopes only");
    }
}

/* An edge as fast as the scope cannot be told from the scope's own, so that must be known. */
static void check_rise(const struct point_check *check)
{
    enum quantity quantity = check->point->quantity;
    bool edge = quantity == QUANTITY_RISE_TIME || quantity == QUANTITY_FALL_TIME;

    if (of_shape(check) && edge && isnan(check->instrument->profile->scope.bandwidth)) {
        problems_at(check->problems, at(check, "quantity"),
                    "\"quantity\" is \"%s\" on instrument \"%s\", expected its own rise time to be "
                    "known: \"bandwidth\" in its profile",
                    quantity_name(quantity), check->instrument->name);
    }
}

/* Values that the quantity cannot have, from limits that were meant for another one or another unit. */
static void check_sense(const struct point_check *check, const char *key, double value)
{
    bool duty = check->point->quantity == QUANTITY_DUTY;

    if (quantity_is_pair(check->point->quantity))
        return;
    if (value < 0.0 || (duty && value > 100.0)) {
        problems_at(check->problems, at(check, key), "\"%s\" is %g %s, expected %s", key, value,
                    check->point->unit, duty ? "0 to 100 %" : "no less than 0");
    }
}

static void check_record(const struct point_check *check)
{
    const struct scope *scope = &check->instrument->profile->scope;

    if (check->function != NULL || isnan(check->point->record))
        return;
    double longest = scope->durations[scope->duration_count - 1];
    if (check->point->record > longest * (1.0 + rounding)) {
        problems_at(check->problems, at(check, "record"),
                    "\"record\" is %g s, expected at most %g s: instrument \"%s\" has no more",
                    check->point->record, longest, check->instrument->name);
    }
}

/* The band of a meter's function holds for the signal, of a frequency reading for its value. */
static void check_band(const struct point_check *check)
{
    const struct function *function = check->function;
    enum aspect aspect = aspect_of(check);
    double frequency = check->point->frequency;

    if (function == NULL || isnan(function->low_frequency) || !aspect_is_rms(aspect))
        return;
    if (isnan(frequency)) {
        problems_at(check->problems, check->group,
                    "missing key \"frequency\", expected %g to %g Hz: outside it the accuracy of "
                    "instrument \"%s\" does not hold",
                    function->low_frequency, function->high_frequency, check->instrument->name);
    } else if (!(frequency >= function->low_frequency && frequency <= function->high_frequency)) {
        problems_at(
            check->problems, at(check, "frequency"),
            "\"frequency\" is %g Hz, expected %g to %g Hz, where the accuracy of instrument "
            "\"%s\" holds",
            frequency, function->low_frequency, function->high_frequency, check->instrument->name);
    }
}

/* Waveform, crest factor, bandwidth and samples; the band has words of its own. */
static void check_sight(const struct point_check *check)
{
    static const struct {
        const char *key;
        struct suitability (*judge)(const struct abilities *, const struct signal_facts *);
    } judges[] = {
        { "waveform", suitability_waveform },
        { "crest_factor", suitability_crest },
        { "frequency", suitability_bandwidth },
        { "record", suitability_sampling },
    };
    const struct bench_point *point = check->point;
    struct abilities abilities =
        profile_abilities(check->instrument->profile, point->at_input, bench_record(point));
    struct signal_facts signal_facts = { aspect_of(check), point->shape, point->frequency,
                                         point->crest_factor };

    abilities.probe_bandwidth = check->probe->bandwidth;
    for (size_t i = 0; i < sizeof judges / sizeof *judges; i++) {
        struct suitability suitability = judges[i].judge(&abilities, &signal_facts);
        if (suitability.state == SUITABILITY_NONE) {
            problems_at(check->problems, at(check, judges[i].key),
                        "instrument \"%s\" with probe \"%s\" cannot see this: %s",
                        check->instrument->name, check->probe->name, suitability.reason);
        }
    }
}

static void check_fit(const struct point_check *check)
{
    for (size_t i = 0; i < check->input->count; i++) {
        const struct range *range = &check->input->ranges[i];
        char made[NOTATION_SIZE];
        char is[NOTATION_SIZE];
        if (probe_fits_input(check->probe, range->input_resistance))
            continue;
        problems_at(check->problems, at(check, "probe"),
                    "probe \"%s\" is made for an input of %s, instrument \"%s\" has %s on its %g "
                    "range, expected a probe that fits",
                    check->probe->name,
                    notation_plain(made, sizeof made, check->probe->load_resistance, "Ω"),
                    check->instrument->name,
                    notation_plain(is, sizeof is, range->input_resistance, "Ω"), range->full_scale);
        return;
    }
}

static double crest_or(const struct point_check *check, double otherwise)
{
    return isnan(check->point->crest_factor) ? otherwise : check->point->crest_factor;
}

/*
 * Largest |instantaneous value| at the tip that goes with a value of the
 * quantity. Of a peak-to-peak value all may lie on one side of the mean.
 */
static double peak_of(const struct point_check *check, double value)
{
    enum aspect aspect = aspect_of(check);
    double level = isnan(check->point->dc_level) ? 0.0 : fabs(check->point->dc_level);
    double swing = fabs(value) * (aspect_is_rms(aspect) ? crest_or(check, sine_crest) : 1);

    return aspect_ignores_mean(aspect) ? level + swing : swing;
}

static void check_probe_rating(const struct point_check *check, const char *key, double value)
{
    double frequency = isnan(check->point->frequency) ? 0.0 : check->point->frequency;
    double rating = probe_rating_at(check->probe, frequency);
    double peak = peak_of(check, value);

    if (peak > rating * (1.0 + rounding)) {
        problems_at(
            check->problems, at(check, key),
            "rating: \"%s\" is %g %s, a peak of %.4g %s, expected at most %.4g %s, the rating "
            "of probe \"%s\" at %g Hz",
            key, value, check->point->unit, peak, check->point->unit, rating, check->point->unit,
            check->probe->name, frequency);
    }
}

static void check_input_rating(const struct point_check *check, const char *key, double value)
{
    double peak = peak_of(check, value) / fabs(check->probe->factor);
    double rating = check->instrument->profile->max_input;

    if (quantity_dimension(check->point->at_input) == DIMENSION_VOLTAGE &&
        peak > rating * (1.0 + rounding)) {
        problems_at(
            check->problems, at(check, key),
            "rating: \"%s\" is %g %s, a peak of %.4g V at the input, expected at most %.4g V, "
            "the rating of instrument \"%s\"",
            key, value, check->point->unit, peak, rating, check->instrument->name);
    }
}

/* The smallest and largest instantaneous input that any range can be brought to show. */
static void widest(const struct front_end *input, double *low, double *high)
{
    *low = DBL_MAX;
    *high = -DBL_MAX;
    for (size_t i = 0; i < input->count; i++) {
        const struct range *range = &input->ranges[i];
        double shift = range->offset_span + input->position_divisions * range->volts_per_division;
        *low = fmin(*low, range->low - shift);
        *high = fmax(*high, range->high + shift);
    }
}

/*
 * What values of the aspect a scope can show. An ac value is largest for a
 * square wave, whose peak is its RMS; offset and position do not help there.
 */
static void scope_values(const struct point_check *check, double *low, double *high)
{
    const struct range *largest = &check->input->ranges[check->input->count - 1];
    double height = largest->high - largest->low;
    enum aspect aspect = aspect_of(check);

    widest(check->input, low, high);
    if (aspect_ignores_mean(aspect))
        *high = aspect_is_rms(aspect) ? height / 2.0 / crest_or(check, 1.0) : height;
    else if (aspect_is_rms(aspect))
        *high = fmax(fabs(*low), fabs(*high));
    if (aspect_has_no_sign(aspect))
        *low = 0.0;
}

/* What values can be shown at the tip, through the probe. */
static void tip_values(const struct point_check *check, double *low, double *high)
{
    double bounds[2];

    if (check->function == NULL)
        scope_values(check, &bounds[0], &bounds[1]);
    else
        widest(check->input, &bounds[0], &bounds[1]);
    for (size_t i = 0; i < 2; i++) {
        bounds[i] *= aspect_ignores_mean(aspect_of(check)) ? fabs(check->probe->factor)
                                                           : check->probe->factor;
        bounds[i] += aspect_ignores_mean(aspect_of(check)) ? 0.0 : check->probe->offset;
    }
    *low = fmin(bounds[0], bounds[1]);
    *high = fmax(bounds[0], bounds[1]);
    if (check->point->quantity == QUANTITY_FREQUENCY && !isnan(check->function->low_frequency)) {
        *low = check->function->low_frequency;
        *high = fmin(*high, check->function->high_frequency);
    }
}

static void check_reach(const struct point_check *check, const char *key, double value)
{
    double low;
    double high;

    tip_values(check, &low, &high);
    double slack = rounding * fmax(fabs(low), fabs(high));
    if (!(value >= low - slack && value <= high + slack)) {
        problems_at(
            check->problems, at(check, key),
            "\"%s\" is %g %s, expected %.6g to %.6g %s, which is what instrument \"%s\" can "
            "show through probe \"%s\"",
            key, value, check->point->unit, low, high, check->point->unit, check->instrument->name,
            check->probe->name);
    }
}

static void check_value(const struct point_check *check, const char *key, double value)
{
    if (!isfinite(value))
        return;
    if (!of_level(check)) {
        check_sense(check, key, value);
        return;
    }
    check_reach(check, key, value);
    check_probe_rating(check, key, value);
    check_input_rating(check, key, value);
}

/* Without its dc level an ac quantity says nothing about what stands at the input. */
static void check_level(const struct point_check *check)
{
    if (of_level(check) && !isnan(check->point->expected) &&
        aspect_ignores_mean(aspect_of(check)) && isnan(check->point->dc_level)) {
        problems_at(check->problems, check->group,
                    "missing key \"dc_level\", expected the level that the %s rides on, 0 where "
                    "there is none",
                    quantity_name(check->point->quantity));
    }
}

/* Who writes down what is expected, and limits that it fails, has mistaken one of them. */
static void check_expectation(const struct point_check *check)
{
    const struct limits *limits = &check->point->limits;
    double expected = check->point->expected;

    if (limits->judged != JUDGED_VALUE || !limits_present(limits) || isnan(expected) ||
        (!(expected < limits->low) && !(expected > limits->high)))
        return;
    problems_at(
        check->problems, at(check, "expected"),
        "\"expected\" is %g %s and fails the limits, %s %g %s, expected a value within them",
        expected, check->point->unit, expected < limits->low ? "low" : "high",
        expected < limits->low ? limits->low : limits->high, check->point->unit);
}

void settings_check_point(const struct point_check *check)
{
    check_input_number(check);
    if (!can_measure(check))
        return;
    check_useless(check);
    check_record(check);
    check_band(check);
    check_sight(check);
    check_rise(check);
    check_fit(check);
    check_level(check);
    check_expectation(check);
    check_value(check, "expected", check->point->expected);
    if (check->point->limits.judged == JUDGED_VALUE) {
        check_value(check, "low", check->point->limits.low);
        check_value(check, "high", check->point->limits.high);
    }
}
