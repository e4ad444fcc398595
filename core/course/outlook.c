/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "outlook.h"

#include <math.h>
#include <string.h>

/* What does not stand out from white noise by so much stands out from no background. */
static const double worth_a_contest = 4;

/* Hours of a day, and of how far ahead is looked before one has been seen. */
static const double day_hours = 24, ahead_hours = 1;

/* What is less probable is not reckoned with. */
static const double beside_the_question = 1e-3;

/* The values since a moment, as sums. */
static struct trend trend_since(const double *time, const double *value, size_t count, double since)
{
    struct trend trend = { 0 };
    for (size_t i = 0; i < count; i++)
        if (time[i] >= since)
            trend_add(&trend, time[i], value[i]);
    return trend;
}

static bool stands_out(double figure, double standard)
{
    return fabs(figure) > history_sigmas * standard;
}

/*
 * The heaviest contestant, of those with a course that moves if one that does not is beside
 * the question, and of those with a step if one without is.
 */
static const struct contestant *heaviest(const struct contest *contest)
{
    bool moves = contest->courses[SHAPE_CONSTANT] < beside_the_question;
    bool steps = contest->stepless < beside_the_question;
    const struct contestant *best = NULL;
    for (size_t i = 0; i < contest->count; i++) {
        const struct contestant *each = &contest->list[i];
        if ((each->shape.course != SHAPE_CONSTANT) == moves && (each->shape.step > 0) == steps &&
            (best == NULL || each->weight > best->weight))
            best = each;
    }
    return best;
}

static enum history_kind kind_of(const struct course_shape *shape)
{
    switch (shape->course) {
    case SHAPE_LINE:
    case SHAPE_SETTLING_LINE:
        return shape->step ? HISTORY_DRIFT_AND_STEP : HISTORY_DRIFT;
    case SHAPE_SETTLING:
        return shape->step ? HISTORY_SETTLING_AND_STEP : HISTORY_SETTLING;
    default:
        return shape->step ? HISTORY_STEP : HISTORY_STEADY;
    }
}

/* The slope at a time over all contestants: mean and standard deviation of the mixture. */
static double mean_slope(const struct contest *contest, double time, double *standard)
{
    double mean = 0, square = 0;
    for (size_t i = 0; i < contest->count; i++) {
        const struct contestant *each = &contest->list[i];
        double own, slope = contestant_slope(contest, each, time, &own);
        mean += each->weight * slope;
        square += each->weight * (slope * slope + own * own);
    }
    *standard = sqrt(fmax(0, square - mean * mean));
    return mean;
}

/* Where the kept value number `kept` stood in the whole run. */
static size_t place_of(const double *time, size_t count, double kept)
{
    size_t i = 0;
    while (i < count && time[i] < kept)
        i++;
    return i;
}

static void put_finding(const struct contest *contest, const struct contestant *chosen,
                        const double *time, size_t count, const double *kept,
                        struct outlook *outlook)
{
    struct history_finding *finding = &outlook->finding;
    finding->kind = chosen != NULL ? kind_of(&chosen->shape) : HISTORY_STEADY;
    finding->step = finding->step_standard = finding->slope = finding->slope_standard = 0;
    finding->step_at = 0;
    if (chosen != NULL && chosen->shape.step > 0) {
        finding->step = contestant_step(contest, chosen, &finding->step_standard);
        finding->step_at = place_of(time, count, kept[finding->offers[chosen->shape.step - 1]]);
    }
    outlook->compared = true;
    for (size_t i = 0; i < BACKGROUND_KINDS; i++)
        if (contest->backgrounds[i] > contest->backgrounds[outlook->background])
            outlook->background = (enum background_kind)i;
    double standard, day = chosen != NULL ? contestant_day(contest, chosen, &standard) : 0;
    outlook->day = day > 0 && stands_out(day, standard) ? day : 0;
}

static void put_slope(const struct contest *contest, double now, struct outlook *outlook)
{
    struct history_finding *finding = &outlook->finding;
    outlook->line.slope = mean_slope(contest, now, &outlook->line.slope_standard);
    outlook->moves = finding->kind != HISTORY_STEADY && finding->kind != HISTORY_STEP;
    if (outlook->moves) {
        finding->slope = outlook->line.slope;
        finding->slope_standard = outlook->line.slope_standard;
    }
}

static bool meets(const struct contest *contest, double level, bool above, double now,
                  struct outlook *outlook)
{
    struct forecast_crossing *crossing = &outlook->crossing;
    if (!isfinite(level) || !forecast_meets(contest, level, above, now, crossing) ||
        (contest->places.span < day_hours && crossing->latest > now + ahead_hours))
        return false;
    outlook->meets = true;
    outlook->at_high = above;
    outlook->level = level;
    return true;
}

/* What the course that was claimed will come to. */
static void look_ahead(const struct contest *contest, const struct limits *limits, double now,
                       struct outlook *outlook)
{
    enum history_kind kind = outlook->finding.kind;
    if (!outlook->moves)
        return;
    if (kind == HISTORY_SETTLING || kind == HISTORY_SETTLING_AND_STEP)
        outlook->settles = forecast_settles(contest, &outlook->settled);
    if (limits == NULL || limits->judged != JUDGED_VALUE || !limits_present(limits))
        return;
    bool met = meets(contest, limits->high, true, now, outlook) ||
               meets(contest, limits->low, false, now, outlook);
    outlook->stays = !met && outlook->settles && outlook->settled.low > limits->low &&
                     outlook->settled.high < limits->high;
}

/* A display's steps are noise that no mean over like digits makes smaller. */
static double least_noise(double noise, double quantum, size_t count)
{
    double rounding = quantum * quantum / 12;
    double size = ceil((double)count / PLACES);
    return noise > quantum / 2 ? rounding : rounding * size;
}

static bool is_worth_a_contest(const struct outlook *outlook)
{
    return outlook->studied && outlook->fitted && outlook->finding.kept >= HISTORY_FEWEST &&
           (outlook->finding.kind != HISTORY_STEADY ||
            fabs(outlook->line.slope) > worth_a_contest * outlook->line.slope_standard);
}

void outlook_find(const double *time, const double *value, size_t count, double quantum,
                  const struct limits *limits, double *scratch, struct outlook *outlook)
{
    memset(outlook, 0, sizeof *outlook);
    if (count == 0)
        return;
    size_t kept = count;
    const double *times = time, *values = value;
    struct contest contest;
    const struct history_finding *finding = &outlook->finding;
    outlook->studied = history_study(time, value, count, quantum, scratch, &outlook->finding);
    if (outlook->studied) {
        times = scratch;
        values = scratch + count;
        kept = finding->kept;
    }
    struct trend trend = trend_since(times, values, kept, time[finding->step_at]);
    outlook->fitted = trend_fit(&trend, &outlook->line);
    if (!is_worth_a_contest(outlook) ||
        !contest_hold(times, values, kept, day_hours, finding->offers,
                      least_noise(finding->noise, quantum, kept), &contest))
        return;
    put_finding(&contest, heaviest(&contest), time, count, times, outlook);
    trend = trend_since(times, values, kept, time[finding->step_at]);
    outlook->fitted = trend_fit(&trend, &outlook->line);
    put_slope(&contest, time[count - 1], outlook);
    look_ahead(&contest, limits, time[count - 1], outlook);
}
