/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What is what in a plot. */
#include "report_plot.h"

#include <string.h>

/* A sample of what stands for something, its middle left on the line of its words. */
static void key_range(const struct pen *pen, double x, double y)
{
    const struct bar bars[] = { { x + 3, y - 4, y + 2 },
                                { x + 7, y - 2, y + 4 },
                                { x + 11, y - 5, y + 3 } };
    pen->bars(pen->context, INK_RANGE, 3, bars, sizeof bars / sizeof *bars);
}

static void key_mean(const struct pen *pen, double x, double y)
{
    pen->line(pen->context, INK_TRACE, 1.2, x, y, x + 14, y);
}

static void key_limit(const struct pen *pen, double x, double y)
{
    pen->line(pen->context, INK_LIMIT, 1.2, x, y, x + 14, y);
}

static void key_guard(const struct pen *pen, double x, double y)
{
    pen->area(pen->context, INK_GUARD, x, y - 4, 14, 8);
}

static void key_warm_up(const struct pen *pen, double x, double y)
{
    pen->area(pen->context, INK_WARM_UP, x, y - 4, 14, 8);
}

static void key_gap(const struct pen *pen, double x, double y)
{
    pen->area(pen->context, INK_GAP, x, y - 4, 14, 8);
}

static void key_failure(const struct pen *pen, double x, double y)
{
    report_plot_cross(pen, x + 7, y);
}

static void key_loss(const struct pen *pen, double x, double y)
{
    const struct bar bars[] = { { x + 7, y - 1, y + 4 } };
    pen->bars(pen->context, INK_TEXT, 1, bars, 1);
}

static void key_drift(const struct pen *pen, double x, double y)
{
    pen->line(pen->context, INK_DRIFT, 1.2, x, y, x + 14, y);
}

static void key_trip(const struct pen *pen, double x, double y)
{
    pen->line(pen->context, INK_BAD, 1.2, x + 7, y - 5, x + 7, y + 5);
}

double report_plot_key(const struct pen *pen, struct plot_box box)
{
    static const struct {
        const char *words;
        void (*sample)(const struct pen *pen, double x, double y);
    } rows[] = { { "mean", key_mean },
                 { "smallest to largest", key_range },
                 { "limit", key_limit },
                 { "guard band", key_guard },
                 { "drift allowed", key_drift },
                 { "failed", key_failure },
                 { "trip", key_trip },
                 { "no reading", key_loss },
                 { "nothing measured", key_gap },
                 { "warm-up", key_warm_up } };
    double line = 1.7 * pen->label, x = box.x, y = box.y;
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        double width = 18 + (double)(strlen(rows[i].words) + 2) * frame_digit * pen->label;
        if (x > box.x && x + width > box.x + box.width) {
            x = box.x;
            y += line;
        }
        rows[i].sample(pen, x, y + line / 2);
        pen->text(pen->context, INK_FAINT, pen->label, ANCHOR_START, x + 18,
                  y + line / 2 + 0.35 * pen->label, rows[i].words);
        x += width;
    }
    return y + line - box.y;
}
