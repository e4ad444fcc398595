/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "control_chart.h"

#include <math.h>

const double control_sigmas = 3, control_weight = 0.2;

/* A display that stands still scatters by half a step at least: it may show the next digit. */
static const double least_scatter = 0.5;

double control_average(double average, double value, double weight)
{
    return weight * value + (1 - weight) * average;
}

double control_average_limit(double deviation, double weight, double sigmas)
{
    return sigmas * deviation * sqrt(weight / (2 - weight));
}

static void note_step(struct control_chart *chart, double value, double step)
{
    double change = fabs(value - chart->last);
    if (step > 0) {
        chart->quantum = chart->stated ? fmax(chart->quantum, step) : step;
        chart->stated = true;
    } else if (!chart->stated && chart->baseline.count > 0 && change > 0 &&
               (chart->quantum == 0 || change < chart->quantum)) {
        chart->quantum = change;
    }
    chart->last = value;
}

double control_chart_deviation(const struct control_chart *chart)
{
    const struct baseline *baseline = &chart->baseline;
    if (chart->window < 2 || baseline->count < chart->window)
        return NAN;
    double deviation =
        fmax(sqrt(baseline->squares / (baseline->count - 1)), least_scatter * chart->quantum);
    return deviation > 0 ? deviation : NAN;
}

enum control control_chart_add(struct control_chart *chart, double value, double step)
{
    struct baseline *baseline = &chart->baseline;
    note_step(chart, value, step);
    if (baseline->count < chart->window) {
        baseline_add(baseline, value);
        chart->average = baseline->mean;
        return CONTROL_WELL;
    }
    double deviation = control_chart_deviation(chart);
    chart->average = control_average(chart->average, value, control_weight);
    if (fabs(value - baseline->mean) > control_sigmas * deviation)
        return CONTROL_SUDDEN;
    double limit = control_average_limit(deviation, control_weight, control_sigmas);
    return fabs(chart->average - baseline->mean) > limit ? CONTROL_LASTING : CONTROL_WELL;
}
