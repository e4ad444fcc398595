/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "trend.h"

#include <math.h>

/*
 * What a further value adds to the squares about the line: its distance from
 * the line so far, over its variance there in units of one value's. Forming it
 * from the sums at the end would lose the digits in which they agree.
 */
static double added_squares(const struct trend *trend, double time_step, double value_step)
{
    if (trend->count < 1)
        return 0;
    double alone = 1 + 1 / trend->count;
    if (trend->time_squares > 0) {
        double distance = value_step - trend->products / trend->time_squares * time_step;
        return distance * distance / (alone + time_step * time_step / trend->time_squares);
    }
    return time_step == 0 ? value_step * value_step / alone : 0;
}

bool trend_add(struct trend *trend, double time, double value)
{
    if (!isfinite(time) || !isfinite(value))
        return false;
    double count = trend->count + 1;
    double time_step = time - trend->time_mean;
    double value_step = value - trend->value_mean;
    double share = trend->count / count;
    trend->left += added_squares(trend, time_step, value_step);
    trend->count = count;
    trend->time_mean += time_step / count;
    trend->value_mean += value_step / count;
    trend->time_squares += time_step * time_step * share;
    trend->products += time_step * value_step * share;
    return true;
}

bool trend_fit(const struct trend *trend, struct trend_line *line)
{
    if (!(trend->count >= 3) || !(trend->time_squares > 0))
        return false;
    double slope = trend->products / trend->time_squares;
    double freedom = trend->count - 2;
    double residual = sqrt(trend->left / freedom);
    *line = (struct trend_line) { .centre = trend->time_mean,
                                  .level = trend->value_mean,
                                  .level_standard = residual / sqrt(trend->count),
                                  .slope = slope,
                                  .slope_standard = residual / sqrt(trend->time_squares),
                                  .residual = residual,
                                  .freedom = freedom };
    return true;
}
