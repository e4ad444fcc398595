/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "report_plot.h"

#include "report_words.h"
#include "tools/gradus/basics/field.h"
#include "tools/gradus/basics/memory.h"
#include "tools/gradus/basics/terminal_text.h"
#include "tools/gradus/screen/scale.h"

#include "core/basics/notation.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* Half the size of a cross, and the width of a figure over its size. */
static const double mark = 2.5, digit = 0.62;

/* A pause of more rounds than this is a gap. */
static const double gap_rounds = 1.5;

/* Stretches that are few enough to be dots as well as a line. */
enum { DOTTED = 60 };

enum { GRID_LINES = 4, SMALL_BUCKETS = 60, TICKS_MOST = 7 };

/* The part of a box that values are drawn in, and what its edges stand for. */
struct frame {
    struct plot_box box;
    double from, to;
    double low, high;
};

static double bottom_of(const struct frame *frame)
{
    return frame->box.y + frame->box.height;
}

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

static double middle_of(const struct frame *frame, const struct report_bucket *bucket)
{
    return x_of(frame, (bucket->from + bucket->to) / 2);
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

bool report_plot_has(const struct report_point *point)
{
    for (size_t i = 0; i < point->bucket_count; i++)
        if (isfinite(point->buckets[i].mean))
            return true;
    return false;
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

static void hold_limits(struct frame *frame, const struct report_point *point)
{
    size_t index;
    json_t *limits;
    json_array_foreach(field_at(point->study, "limits"), index, limits)
    {
        if (is_of_value(limits)) {
            hold(frame, field_number(limits, "low"));
            hold(frame, field_number(limits, "high"));
        }
    }
}

static struct frame frame_of(const struct report *report, const struct report_point *point,
                             bool with_limits)
{
    struct frame frame = { .from = report->first,
                           .to = fmax(report->last, report->first + report->every),
                           .low = NAN,
                           .high = NAN };
    for (size_t i = 0; i < point->bucket_count; i++) {
        hold(&frame, point->buckets[i].minimum);
        hold(&frame, point->buckets[i].maximum);
    }
    if (with_limits)
        hold_limits(&frame, point);
    double room = 0.06 * (frame.high - frame.low);
    room = room > 0 ? room : fmax(1e-12, 1e-6 * fabs(frame.high));
    frame.low -= room;
    frame.high += room;
    return frame;
}

static void draw_limit(const struct frame *frame, const struct pen *pen, const json_t *limits,
                       const char *side, double inwards)
{
    double limit = field_number(limits, side);
    double guard = field_number(limits, "guard");
    double from = x_of(frame, report_time(field_text(limits, "from")));
    double to = x_of(frame, report_time(field_text(limits, "to")));
    if (!isfinite(limit))
        return;
    double y = y_of(frame, limit);
    if (guard > 0) {
        double edge = y_of(frame, limit + inwards * guard);
        pen->area(pen->context, INK_GUARD, from, fmin(y, edge), to - from, fabs(edge - y));
    }
    pen->line(pen->context, INK_LIMIT, 0.9, from, y, to, y);
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

/* A phase's name where it has room, and a line where it begins behind another. */
static void draw_phase(const struct frame *frame, const struct pen *pen, double from, double to,
                       const char *name)
{
    double left = x_of(frame, from), right = x_of(frame, to);
    if (from > frame->from)
        pen->line(pen->context, INK_FAINT, 0.5, left, frame->box.y, left, bottom_of(frame));
    if ((double)text_width(name) * digit * pen->label + 4 <= right - left) {
        pen->text(pen->context, INK_FAINT, pen->label, ANCHOR_START, left + 2,
                  frame->box.y - 0.25 * pen->label, name);
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
        double end = field_number(phase, "end_ns") * 1e-9;
        if (begin < frame->to && json_array_size(phases) > 1)
            draw_phase(frame, pen, begin, end, field_text_or_empty(phase, "phase"));
        begin = end;
    }
}

/* The columns that the labels of the values take. */
static size_t widest_label(const struct frame *frame, const char *unit)
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

/* The lines of the grid with what they stand for. */
static void draw_values(const struct frame *frame, const struct pen *pen, const char *unit)
{
    struct scale scale;
    char label[NOTATION_SIZE];
    if (!scale_fit(frame->low, frame->high, GRID_LINES, false, &scale))
        return;
    for (long k = scale.first; k <= scale.last; k++) {
        double y = y_of(frame, scale_line(&scale, k));
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

static void draw_times(const struct frame *frame, const struct pen *pen)
{
    char text[WORDS_SIZE], last[WORDS_SIZE];
    double label = 9 * digit * pen->label;
    double step = report_time_step(frame->to - frame->from,
                                   (int)fmin(TICKS_MOST, fmax(1, frame->box.width / label)));
    double bottom = bottom_of(frame), end = frame->box.x + frame->box.width;
    double first = ceil(frame->from / step) * step;
    long count = lround(floor((frame->to - first) / step));
    for (long i = 0; i <= count; i++) {
        double time = first + (double)i * step;
        double x = x_of(frame, time);
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

static void draw_ranges(const struct frame *frame, const struct pen *pen,
                        const struct report_bucket *buckets, size_t count)
{
    struct bar *ranges = memory_zeroed(count + 1, sizeof *ranges);
    struct bar *losses = memory_zeroed(count + 1, sizeof *losses);
    size_t range_count = 0, loss_count = 0;
    double bottom = bottom_of(frame);
    double width = count > 0 ? fmin(3, fmax(0.5, 0.9 * frame->box.width / (double)count)) : 1;
    for (size_t i = 0; i < count; i++) {
        double x = middle_of(frame, &buckets[i]);
        if (isfinite(buckets[i].minimum) && buckets[i].maximum > buckets[i].minimum) {
            ranges[range_count++] = (struct bar) { x, y_of(frame, buckets[i].maximum),
                                                   y_of(frame, buckets[i].minimum) };
        }
        if (buckets[i].lost)
            losses[loss_count++] = (struct bar) { x, bottom - 5, bottom };
    }
    pen->bars(pen->context, INK_RANGE, width, ranges, range_count);
    pen->bars(pen->context, INK_TEXT, 1, losses, loss_count);
    free(ranges);
    free(losses);
}

static void draw_cross(const struct pen *pen, double x, double y)
{
    pen->line(pen->context, INK_BAD, 1, x - mark, y - mark, x + mark, y + mark);
    pen->line(pen->context, INK_BAD, 1, x - mark, y + mark, x + mark, y - mark);
}

/* Crosses where it failed; those that would lie on each other are one. */
static void draw_failures(const struct frame *frame, const struct pen *pen,
                          const struct report_point *point)
{
    double last = -INFINITY;
    for (size_t i = 0; i < point->bucket_count; i++) {
        const struct report_bucket *bucket = &point->buckets[i];
        double x = middle_of(frame, bucket);
        if (bucket->failed && x - last >= 2 * mark) {
            draw_cross(pen, x,
                       isfinite(bucket->mean) ? y_of(frame, bucket->mean) : frame->box.y + mark);
            last = x;
        }
    }
}

/* Means without a pause between them as a line; one alone, and all where they are few, as dots. */
static void draw_stretch(const struct pen *pen, double width, const double *points, size_t count,
                         bool dotted)
{
    for (size_t i = 0; i < count && (dotted || count == 1); i++) {
        double x = points[2 * i], y = points[2 * i + 1];
        pen->line(pen->context, INK_TRACE, 2 * width, x - width, y, x + width, y);
    }
    if (count > 1)
        pen->path(pen->context, INK_TRACE, width, points, count);
}

static void draw_gap(const struct frame *frame, const struct pen *pen, double from, double to)
{
    double x = x_of(frame, from);
    pen->area(pen->context, INK_GAP, x, frame->box.y, fmax(0.5, x_of(frame, to) - x),
              frame->box.height);
}

/* The rounds between two stretches in which nothing was measured. */
static void draw_gaps(const struct frame *frame, const struct pen *pen, const struct report *report,
                      const struct report_bucket *buckets, size_t count)
{
    double last = NAN;
    for (size_t i = 0; i < count; i++) {
        if (isnan(buckets[i].mean))
            continue;
        if (buckets[i].from - last > gap_rounds * report->every)
            draw_gap(frame, pen, last, buckets[i].from);
        last = buckets[i].to;
    }
}

static void draw_trace(const struct frame *frame, const struct pen *pen,
                       const struct report *report, const struct report_bucket *buckets,
                       size_t bucket_count, double width, bool dotted)
{
    double *points = memory_zeroed(2 * bucket_count + 2, sizeof *points);
    double last = NAN;
    size_t count = 0;
    for (size_t i = 0; i < bucket_count; i++) {
        if (isnan(buckets[i].mean))
            continue;
        if (buckets[i].from - last > gap_rounds * report->every) {
            draw_stretch(pen, width, points, count, dotted);
            count = 0;
        }
        points[2 * count] = middle_of(frame, &buckets[i]);
        points[2 * count++ + 1] = y_of(frame, buckets[i].mean);
        last = buckets[i].to;
    }
    draw_stretch(pen, width, points, count, dotted);
    free(points);
}

void report_plot(const struct report *report, const struct report_point *point,
                 const struct pen *pen, struct plot_box box)
{
    const char *unit = field_text_or_empty(point->study, "unit");
    struct frame frame = frame_of(report, point, true);
    double left = 8 + (double)widest_label(&frame, unit) * digit * pen->label;
    frame.box = (struct plot_box) { box.x + left, box.y + 1.4 * pen->label, box.width - left - 4,
                                    box.height - 4.2 * pen->label };
    draw_warm_up(&frame, pen, report);
    draw_gaps(&frame, pen, report, point->buckets, point->bucket_count);
    draw_values(&frame, pen, unit);
    draw_times(&frame, pen);
    draw_limits(&frame, pen, point);
    draw_phases(&frame, pen, report);
    draw_ranges(&frame, pen, point->buckets, point->bucket_count);
    draw_trace(&frame, pen, report, point->buckets, point->bucket_count, 1,
               point->bucket_count < DOTTED);
    draw_failures(&frame, pen, point);
}

void report_plot_small(const struct report *report, const struct report_point *point,
                       const struct pen *pen, struct plot_box box)
{
    struct frame frame = frame_of(report, point, false);
    struct report_bucket *buckets = memory_zeroed(point->bucket_count + 1, sizeof *buckets);
    if (point->bucket_count > 0)
        memcpy(buckets, point->buckets, point->bucket_count * sizeof *buckets);
    size_t count =
        report_coarsen(buckets, point->bucket_count, SMALL_BUCKETS, gap_rounds * report->every);
    frame.box = box;
    draw_warm_up(&frame, pen, report);
    draw_gaps(&frame, pen, report, buckets, count);
    draw_ranges(&frame, pen, buckets, count);
    draw_trace(&frame, pen, report, buckets, count, 0.7, false);
    free(buckets);
}

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
    draw_cross(pen, x + 7, y);
}

static void key_loss(const struct pen *pen, double x, double y)
{
    const struct bar bars[] = { { x + 7, y - 1, y + 4 } };
    pen->bars(pen->context, INK_TEXT, 1, bars, 1);
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
                 { "failed", key_failure },
                 { "not measured", key_loss },
                 { "daemon not running", key_gap },
                 { "warm-up", key_warm_up } };
    double line = 1.7 * pen->label, x = box.x, y = box.y;
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        double width = 18 + (double)(strlen(rows[i].words) + 2) * digit * pen->label;
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
