/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "report_frame.h"

#include "report_words.h"
#include "tools/gradus/basics/terminal_text.h"
#include "tools/gradus/screen/scale.h"

#include "core/basics/notation.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

const double frame_digit = 0.62;

enum { GRID_LINES = 4, TICKS_MOST = 7 };

double frame_bottom(const struct frame *frame)
{
    return frame->box.y + frame->box.height;
}

double frame_x(const struct frame *frame, double time)
{
    double share = (time - frame->from) / (frame->to - frame->from);
    return frame->box.x + frame->box.width * fmin(1, fmax(0, share));
}

double frame_y(const struct frame *frame, double value)
{
    double share = (value - frame->low) / (frame->high - frame->low);
    return frame->box.y + frame->box.height * (1 - fmin(1, fmax(0, share)));
}

double frame_middle(const struct frame *frame, const struct report_bucket *bucket)
{
    return frame_x(frame, (bucket->from + bucket->to) / 2);
}

double report_time_step(double span, int most)
{
    static const double steps[] = { 1,     2,     5,      10,     20,     30,      60,     120,
                                    300,   600,   1200,   1800,   3600,   7200,    10800,  21600,
                                    43200, 86400, 172800, 345600, 604800, 1209600, 2419200 };
    size_t count = sizeof steps / sizeof *steps;
    for (size_t i = 0; i < count; i++)
        if (span / steps[i] <= most)
            return steps[i];
    return steps[count - 1] * ceil(span / steps[count - 1] / most);
}

void frame_hold(struct frame *frame, double value)
{
    if (isfinite(value)) {
        frame->low = fmin(frame->low, value);
        frame->high = fmax(frame->high, value);
    }
}

size_t frame_widest_label(const struct frame *frame, const char *unit)
{
    struct scale scale;
    char label[NOTATION_SIZE];
    size_t widest = 0;
    if (!scale_fit(frame->low, frame->high, GRID_LINES, false, &scale))
        return 0;
    for (long k = scale.first; k <= scale.last; k++) {
        notation_plain(label, sizeof label, scale_line(&scale, k), unit);
        widest = text_width(label) > widest ? text_width(label) : widest;
    }
    return widest;
}

void frame_values(const struct frame *frame, const struct pen *pen, const char *unit)
{
    struct scale scale;
    char label[NOTATION_SIZE];
    if (!scale_fit(frame->low, frame->high, GRID_LINES, false, &scale))
        return;
    for (long k = scale.first; k <= scale.last; k++) {
        double y = frame_y(frame, scale_line(&scale, k));
        pen->line(pen->context, INK_GRID, 0.5, frame->box.x, y, frame->box.x + frame->box.width, y);
        notation_plain(label, sizeof label, scale_line(&scale, k), unit);
        pen->text(pen->context, INK_FAINT, pen->label, ANCHOR_END, frame->box.x - 4,
                  y + 0.35 * pen->label, label);
    }
}

/* The day where days are told apart, the time of day else. Returns a part of text. */
static const char *tick_label(double time, double step, char text[WORDS_SIZE])
{
    report_moment(time, text);
    if (step >= 86400) {
        text[10] = '\0';
        return text + 5;
    }
    text[step < 60 ? 19 : 16] = '\0';
    return text + 11;
}

void frame_times(const struct frame *frame, const struct pen *pen)
{
    char text[WORDS_SIZE], last[WORDS_SIZE];
    double label = 9 * frame_digit * pen->label;
    double step = report_time_step(frame->to - frame->from,
                                   (int)fmin(TICKS_MOST, fmax(1, frame->box.width / label)));
    double bottom = frame_bottom(frame), end = frame->box.x + frame->box.width;
    double first = ceil(frame->from / step) * step;
    long count = lround(floor((frame->to - first) / step));
    for (long i = 0; i <= count; i++) {
        double time = first + (double)i * step;
        double x = frame_x(frame, time);
        pen->line(pen->context, INK_GRID, 0.5, x, frame->box.y, x, bottom);
        if (x + label / 2 < end + 4) {
            pen->text(pen->context, INK_FAINT, pen->label, ANCHOR_MIDDLE, x,
                      bottom + 1.2 * pen->label, tick_label(time, step, text));
        }
    }
    report_moment(frame->from, text);
    snprintf(text + strlen(text), 80, " to %.40s UTC", report_moment(frame->to, last));
    pen->text(pen->context, INK_FAINT, pen->label, ANCHOR_END, end, bottom + 2.4 * pen->label,
              text);
}
