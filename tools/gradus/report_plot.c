/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "report_plot.h"

#include "field.h"
#include "memory.h"
#include "report_words.h"
#include "scale.h"

#include "../../core/notation.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static const double label_width = 62, axis_height = 14, label_size = 7, mark = 2.5;

/* A longer pause than this many stretches or rounds is a gap. */
static const double gap = 1.6;

/* The part of a box that values are drawn in, and what its edges stand for. */
struct frame {
    struct plot_box box;
    double from, to;
    double low, high;
};

static double x_of(const struct frame *frame, double time)
{
    double share = (time - frame->from) / (frame->to - frame->from);
    return frame->box.x + frame->box.width * fmin(1, fmax(0, share));
}

static double y_of(const struct frame *frame, double value)
{
    double share = (value - frame->low) / (frame->high - frame->low);
    return frame->box.y + frame->box.height * (1 - fmin(1, fmax(0, share)));
}

double report_time_step(double span, int most)
{
    static const double steps[] = { 1,     2,     5,      10,     20,     30,      60,     120,
                                    300,   600,   1200,   1800,   3600,   7200,    10800,  21600,
                                    43200, 86400, 172800, 345600, 604800, 1209600, 2419200 };
    size_t count = sizeof steps / sizeof *steps;
    for (size_t i = 0; i < count; i++) {
        if (span / steps[i] <= most) {
            return steps[i];
        }
    }
    return steps[count - 1] * ceil(span / steps[count - 1] / most);
}

/* Widens the frame so that a value is in it. */
static void hold(struct frame *frame, double value)
{
    if (isfinite(value)) {
        frame->low = fmin(frame->low, value);
        frame->high = fmax(frame->high, value);
    }
}

/* The limits that hold for the value itself; those of a comparison are of another scale. */
static bool is_of_value(const json_t *limits)
{
    return field_text(limits, "judge") == NULL;
}

static struct frame frame_of(const struct report *report, const struct report_point *point,
                             bool with_limits)
{
    struct frame frame = { .from = report->first,
                           .to = fmax(report->last, report->first + report->every),
                           .low = NAN,
                           .high = NAN };
    size_t index;
    json_t *limits;
    for (size_t i = 0; i < point->bucket_count; i++) {
        hold(&frame, point->buckets[i].minimum);
        hold(&frame, point->buckets[i].maximum);
    }
    if (with_limits) {
        json_array_foreach(field_at(point->study, "limits"), index, limits)
        {
            if (is_of_value(limits)) {
                hold(&frame, field_number(limits, "low"));
                hold(&frame, field_number(limits, "high"));
            }
        }
    }
    double room = 0.06 * (frame.high - frame.low);
    room = room > 0 ? room : fmax(1e-12, 1e-6 * fabs(frame.high));
    frame.low = isnan(frame.low) ? 0 : frame.low - room;
    frame.high = isnan(frame.high) ? 1 : frame.high + room;
    return frame;
}

static void draw_limit(const struct frame *frame, const struct pen *pen, const json_t *limits,
                       const char *side, double inwards)
{
    double limit = field_number(limits, side);
    double guard = field_number(limits, "guard");
    double from = x_of(frame, report_time(field_text(limits, "from")));
    double to = x_of(frame, report_time(field_text(limits, "to")));
    if (!isfinite(limit)) {
        return;
    }
    double y = y_of(frame, limit);
    if (guard > 0) {
        double edge = y_of(frame, limit + inwards * guard);
        pen->area(pen->context, INK_GUARD, from, fmin(y, edge), to - from, fabs(edge - y));
    }
    pen->line(pen->context, INK_LIMIT, 0.8, from, y, to, y);
}

static void draw_limits(const struct frame *frame, const struct pen *pen,
                        const struct report_point *point)
{
    size_t index;
    json_t *limits;
    json_array_foreach(field_at(point->study, "limits"), index, limits)
    {
        if (is_of_value(limits)) {
            draw_limit(frame, pen, limits, "low", 1);
            draw_limit(frame, pen, limits, "high", -1);
        }
    }
}

static void draw_warm_up(const struct frame *frame, const struct pen *pen,
                         const struct report *report)
{
    if (report->warm_until > report->first) {
        double to = x_of(frame, report->warm_until);
        pen->area(pen->context, INK_WARM_UP, frame->box.x, frame->box.y, to - frame->box.x,
                  frame->box.height);
    }
}

static void draw_phases(const struct frame *frame, const struct pen *pen,
                        const struct report *report)
{
    const json_t *phases = field_at(report->began, "phases");
    double begin = report->first;
    size_t index;
    json_t *phase;
    json_array_foreach(phases, index, phase)
    {
        double x = x_of(frame, begin);
        if (begin > frame->to || json_array_size(phases) < 2) {
            return;
        }
        if (index > 0) {
            pen->line(pen->context, INK_FAINT, 0.5, x, frame->box.y, x,
                      frame->box.y + frame->box.height);
        }
        pen->text(pen->context, INK_FAINT, label_size, ANCHOR_START, x + 2, frame->box.y + 7,
                  field_text_or_empty(phase, "phase"));
        begin = field_number(phase, "end_ns") * 1e-9;
    }
}

/* The lines of the grid with what they stand for. */
static void draw_values(const struct frame *frame, const struct pen *pen, const char *unit)
{
    struct scale scale;
    char label[NOTATION_SIZE];
    if (!scale_fit(frame->low, frame->high, 4, false, &scale)) {
        return;
    }
    for (long k = scale.first; k <= scale.last; k++) {
        double y = y_of(frame, scale_line(&scale, k));
        pen->line(pen->context, INK_GRID, 0.5, frame->box.x, y, frame->box.x + frame->box.width, y);
        notation_plain(label, sizeof label, scale_line(&scale, k), unit);
        pen->text(pen->context, INK_FAINT, label_size, ANCHOR_END, frame->box.x - 3, y + 2.5,
                  label);
    }
}

static void draw_times(const struct frame *frame, const struct pen *pen)
{
    double step = report_time_step(frame->to - frame->from, 7);
    double bottom = frame->box.y + frame->box.height;
    long last = (long)floor(frame->to / step);
    for (long k = (long)ceil(frame->from / step); k <= last; k++) {
        char moment[WORDS_SIZE];
        double time = (double)k * step;
        double x = x_of(frame, time);
        report_moment(time, moment);
        moment[step < 60 ? 19 : 16] = '\0';
        /* The day where days are told apart, the time of day else. */
        const char *label = step >= 86400 ? (moment[10] = '\0', moment + 5) : moment + 11;
        pen->line(pen->context, INK_GRID, 0.5, x, frame->box.y, x, bottom);
        pen->text(pen->context, INK_FAINT, label_size, ANCHOR_MIDDLE, x, bottom + 9, label);
    }
}

/* How far apart two stretches may begin and end with nothing between them. */
static double pause_of(const struct report *report, const struct report_point *point)
{
    double span = report->last - report->first + report->every;
    double width = point->bucket_count > 0 ? span / (double)point->bucket_count : span;
    return gap * fmax(report->every, fmin(width, 3 * report->every));
}

static void draw_ranges(const struct frame *frame, const struct pen *pen,
                        const struct report_point *point)
{
    for (size_t i = 0; i < point->bucket_count; i++) {
        const struct report_bucket *bucket = &point->buckets[i];
        double x = x_of(frame, (bucket->from + bucket->to) / 2);
        double bottom = frame->box.y + frame->box.height;
        if (isfinite(bucket->minimum) && bucket->maximum > bucket->minimum) {
            pen->line(pen->context, INK_RANGE, 1, x, y_of(frame, bucket->minimum), x,
                      y_of(frame, bucket->maximum));
        }
        if (bucket->lost) {
            pen->line(pen->context, INK_TEXT, 1, x, bottom - 4, x, bottom);
        }
    }
}

/* Stretches that failed, and those that stand alone and would be no line. */
static void draw_marks(const struct frame *frame, const struct pen *pen,
                       const struct report_point *point)
{
    for (size_t i = 0; i < point->bucket_count; i++) {
        const struct report_bucket *bucket = &point->buckets[i];
        double x = x_of(frame, (bucket->from + bucket->to) / 2);
        double y = isfinite(bucket->mean) ? y_of(frame, bucket->mean) : frame->box.y + mark;
        if (bucket->failed) {
            pen->line(pen->context, INK_BAD, 1, x - mark, y - mark, x + mark, y + mark);
            pen->line(pen->context, INK_BAD, 1, x - mark, y + mark, x + mark, y - mark);
        } else if (isfinite(bucket->mean) && point->bucket_count < 60) {
            pen->line(pen->context, INK_TRACE, 1.6, x - 0.8, y, x + 0.8, y);
        }
    }
}

static void draw_trace(const struct frame *frame, const struct pen *pen,
                       const struct report *report, const struct report_point *point, double width)
{
    double *points = memory_zeroed(2 * point->bucket_count + 2, sizeof *points);
    double pause = pause_of(report, point), last = -INFINITY;
    size_t count = 0;
    for (size_t i = 0; i <= point->bucket_count; i++) {
        const struct report_bucket *bucket = &point->buckets[i];
        bool there = i < point->bucket_count && isfinite(bucket->mean);
        if (count > 0 && (!there || bucket->from - last > pause)) {
            pen->path(pen->context, INK_TRACE, width, points, count);
            count = 0;
        }
        if (there) {
            points[2 * count] = x_of(frame, (bucket->from + bucket->to) / 2);
            points[2 * count++ + 1] = y_of(frame, bucket->mean);
            last = bucket->to;
        }
    }
    free(points);
}

void report_plot(const struct report *report, const struct report_point *point,
                 const struct pen *pen, struct plot_box box)
{
    struct frame frame = frame_of(report, point, true);
    frame.box = (struct plot_box) { box.x + label_width, box.y + 2, box.width - label_width - 4,
                                    box.height - axis_height - 2 };
    draw_warm_up(&frame, pen, report);
    draw_values(&frame, pen, field_text_or_empty(point->study, "unit"));
    draw_times(&frame, pen);
    draw_limits(&frame, pen, point);
    draw_phases(&frame, pen, report);
    draw_ranges(&frame, pen, point);
    draw_trace(&frame, pen, report, point, 0.9);
    draw_marks(&frame, pen, point);
}

void report_plot_small(const struct report *report, const struct report_point *point,
                       const struct pen *pen, struct plot_box box)
{
    struct frame frame = frame_of(report, point, false);
    frame.box = box;
    draw_warm_up(&frame, pen, report);
    draw_ranges(&frame, pen, point);
    draw_trace(&frame, pen, report, point, 0.7);
    draw_marks(&frame, pen, point);
}
