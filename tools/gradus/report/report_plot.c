/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "report_plot.h"

#include "report_words.h"
#include "tools/gradus/basics/field.h"
#include "tools/gradus/basics/memory.h"
#include "tools/gradus/basics/terminal_text.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* What is left free above and below a small plot, so that it is not taken for part of its neighbours. */
static const double small_edge = 2.5;

/* Half the size of a cross. */
static const double mark = 2.5;

/* A pause of more rounds than this is a gap. */
static const double gap_rounds = 1.5;

/* Stretches that are few enough to be dots as well as a line. */
enum { DOTTED = 60 };

enum { SMALL_BUCKETS = 60 };

bool report_plot_has(const struct report_point *point)
{
    for (size_t i = 0; i < point->bucket_count; i++)
        if (isfinite(point->buckets[i].mean))
            return true;
    return false;
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
            frame_hold(frame, field_number(limits, "low"));
            frame_hold(frame, field_number(limits, "high"));
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
        frame_hold(&frame, point->buckets[i].minimum);
        frame_hold(&frame, point->buckets[i].maximum);
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
    double from = frame_x(frame, report_time(field_text(limits, "from")));
    double to = frame_x(frame, report_time(field_text(limits, "to")));
    if (!isfinite(limit))
        return;
    double y = frame_y(frame, limit);
    if (guard > 0) {
        double edge = frame_y(frame, limit + inwards * guard);
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

/* How far it may go from what it is compared with, over all that is judged. */
static void draw_drift(const struct frame *frame, const struct pen *pen,
                       const struct report *report, const struct report_point *point)
{
    static const char *const sides[] = { "drift.low", "drift.high" };
    double from = frame_x(frame, fmax(report->warm_until, report->first));
    double to = frame_x(frame, frame->to);
    for (size_t i = 0; i < sizeof sides / sizeof *sides; i++) {
        double edge = field_number(point->study, sides[i]);
        if (isfinite(edge))
            pen->line(pen->context, INK_DRIFT, 0.9, from, frame_y(frame, edge), to,
                      frame_y(frame, edge));
    }
}

/* A word beside a place, on the side that has room. */
static void draw_word(const struct frame *frame, const struct pen *pen, enum ink ink, double x,
                      const char *word)
{
    double length = (double)strlen(word) * frame_digit * pen->label;
    bool right = x + length + 3 <= frame->box.x + frame->box.width;
    pen->text(pen->context, ink, pen->label, right ? ANCHOR_START : ANCHOR_END,
              right ? x + 3 : x - 3, frame->box.y - 0.25 * pen->label, word);
}

static void draw_trip(const struct frame *frame, const struct pen *pen,
                      const struct report_point *point)
{
    double time = report_time(field_text(point->study, "trip.time"));
    if (isfinite(time)) {
        double x = frame_x(frame, time);
        pen->line(pen->context, INK_BAD, 1.2, x, frame->box.y, x, frame_bottom(frame));
        draw_word(frame, pen, INK_BAD, x, "trip");
    }
}

static void draw_warm_up(const struct frame *frame, const struct pen *pen,
                         const struct report *report)
{
    if (report->warm_until > report->first) {
        double to = frame_x(frame, report->warm_until);
        pen->area(pen->context, INK_WARM_UP, frame->box.x, frame->box.y, to - frame->box.x,
                  frame->box.height);
    }
}

/* A phase's name where it has room, and a line where it begins behind another. */
static void draw_phase(const struct frame *frame, const struct pen *pen, double from, double to,
                       const char *name)
{
    double left = frame_x(frame, from), right = frame_x(frame, to);
    if (from > frame->from)
        pen->line(pen->context, INK_FAINT, 0.5, left, frame->box.y, left, frame_bottom(frame));
    if ((double)text_width(name) * frame_digit * pen->label + 4 <= right - left) {
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

static void draw_ranges(const struct frame *frame, const struct pen *pen,
                        const struct report_bucket *buckets, size_t count)
{
    struct bar *ranges = memory_zeroed(count + 1, sizeof *ranges);
    struct bar *losses = memory_zeroed(count + 1, sizeof *losses);
    size_t range_count = 0, loss_count = 0;
    double bottom = frame_bottom(frame);
    double width = count > 0 ? fmin(3, fmax(0.5, 0.9 * frame->box.width / (double)count)) : 1;
    for (size_t i = 0; i < count; i++) {
        double x = frame_middle(frame, &buckets[i]);
        if (isfinite(buckets[i].minimum) && buckets[i].maximum > buckets[i].minimum) {
            ranges[range_count++] = (struct bar) { x, frame_y(frame, buckets[i].maximum),
                                                   frame_y(frame, buckets[i].minimum) };
        }
        if (buckets[i].lost)
            losses[loss_count++] = (struct bar) { x, bottom - 5, bottom };
    }
    pen->bars(pen->context, INK_RANGE, width, ranges, range_count);
    pen->bars(pen->context, INK_TEXT, 1, losses, loss_count);
    free(ranges);
    free(losses);
}

void report_plot_cross(const struct pen *pen, double x, double y)
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
        double x = frame_middle(frame, bucket);
        if (bucket->failed && x - last >= 2 * mark) {
            report_plot_cross(pen, x,
                              isfinite(bucket->mean) ? frame_y(frame, bucket->mean)
                                                     : frame->box.y + mark);
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
    double x = frame_x(frame, from);
    pen->area(pen->context, INK_GAP, x, frame->box.y, fmax(0.5, frame_x(frame, to) - x),
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

/* From where on nothing is known of it, though the run went on. */
static void draw_end(const struct frame *frame, const struct pen *pen, const struct report *report,
                     const struct report_point *point)
{
    double last = point->bucket_count > 0 ? point->buckets[point->bucket_count - 1].to : NAN;
    if (frame->to - last > gap_rounds * report->every) {
        draw_gap(frame, pen, last, frame->to);
        pen->text(pen->context, INK_FAINT, pen->label, ANCHOR_END,
                  frame->box.x + frame->box.width - 3, frame_bottom(frame) - 0.5 * pen->label,
                  "measured no more");
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
        points[2 * count] = frame_middle(frame, &buckets[i]);
        points[2 * count++ + 1] = frame_y(frame, buckets[i].mean);
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
    frame_hold(&frame, field_number(point->study, "drift.low"));
    frame_hold(&frame, field_number(point->study, "drift.high"));
    double left = 8 + (double)frame_widest_label(&frame, unit) * frame_digit * pen->label;
    frame.box = (struct plot_box) { box.x + left, box.y + 1.4 * pen->label, box.width - left - 4,
                                    box.height - 4.2 * pen->label };
    draw_warm_up(&frame, pen, report);
    draw_gaps(&frame, pen, report, point->buckets, point->bucket_count);
    frame_values(&frame, pen, unit);
    frame_times(&frame, pen);
    draw_limits(&frame, pen, point);
    draw_drift(&frame, pen, report, point);
    draw_end(&frame, pen, report, point);
    draw_phases(&frame, pen, report);
    draw_ranges(&frame, pen, point->buckets, point->bucket_count);
    draw_trace(&frame, pen, report, point->buckets, point->bucket_count, 1,
               point->bucket_count < DOTTED);
    draw_failures(&frame, pen, point);
    draw_trip(&frame, pen, point);
}

/* Lines at both sides of the centre of a control chart. */
static void draw_chart_limits(const struct frame *frame, const struct pen *pen, enum ink ink,
                              double centre, double limit)
{
    double from = frame->box.x, to = frame->box.x + frame->box.width;
    for (int side = -1; side <= 1; side += 2) {
        double y = frame_y(frame, centre + side * limit);
        pen->line(pen->context, ink, 0.9, from, y, to, y);
    }
}

static void draw_averages(const struct frame *frame, const struct pen *pen,
                          const struct report_point *point)
{
    double *points = memory_zeroed(2 * point->bucket_count + 2, sizeof *points);
    size_t count = 0;
    for (size_t i = 0; i < point->bucket_count; i++) {
        if (isfinite(point->buckets[i].average)) {
            points[2 * count] = frame_x(frame, point->buckets[i].to);
            points[2 * count++ + 1] = frame_y(frame, point->buckets[i].average);
        }
    }
    if (count > 1)
        pen->path(pen->context, INK_WELL, 1.2, points, count);
    free(points);
}

void report_plot_chart(const struct report *report, const struct report_point *point,
                       const struct pen *pen, struct plot_box box)
{
    const char *unit = field_text_or_empty(point->study, "unit");
    double centre = field_number(point->study, "chart.centre");
    double limit = field_number(point->study, "chart.limit");
    struct frame frame = frame_of(report, point, false);
    frame_hold(&frame, centre - 1.2 * limit);
    frame_hold(&frame, centre + 1.2 * limit);
    double left = 8 + (double)frame_widest_label(&frame, unit) * frame_digit * pen->label;
    frame.box = (struct plot_box) { box.x + left, box.y + 4, box.width - left - 4,
                                    box.height - 2.8 * pen->label - 4 };
    draw_warm_up(&frame, pen, report);
    frame_values(&frame, pen, unit);
    frame_times(&frame, pen);
    draw_ranges(&frame, pen, point->buckets, point->bucket_count);
    draw_trace(&frame, pen, report, point->buckets, point->bucket_count, 1,
               point->bucket_count < DOTTED);
    draw_chart_limits(&frame, pen, INK_FAINT, centre, 0);
    draw_chart_limits(&frame, pen, INK_LIMIT, centre, limit);
    draw_chart_limits(&frame, pen, INK_DRIFT, centre,
                      field_number(point->study, "chart.average_limit"));
    draw_averages(&frame, pen, point);
}

void report_plot_small(const struct report *report, const struct report_point *point,
                       const struct pen *pen, struct plot_box box)
{
    struct frame frame = frame_of(report, point, true);
    struct report_bucket *buckets = memory_zeroed(point->bucket_count + 1, sizeof *buckets);
    if (point->bucket_count > 0)
        memcpy(buckets, point->buckets, point->bucket_count * sizeof *buckets);
    size_t count =
        report_coarsen(buckets, point->bucket_count, SMALL_BUCKETS, gap_rounds * report->every);
    frame.box =
        (struct plot_box) { box.x, box.y + small_edge, box.width, box.height - 2 * small_edge };
    draw_warm_up(&frame, pen, report);
    draw_limits(&frame, pen, point);
    draw_gaps(&frame, pen, report, buckets, count);
    draw_ranges(&frame, pen, buckets, count);
    draw_trace(&frame, pen, report, buckets, count, 0.7, false);
    free(buckets);
}
