/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "plot.h"

#include "canvas.h"
#include "core/basics/notation.h"
#include "scale.h"
#include "tools/gradus/basics/memory.h"
#include "tools/gradus/basics/terminal_text.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { ROWS_PER_LINE = 3, COLUMNS_PER_LINE = 12 };

/* Everything that is worked out before the first character is written. */
struct drawing {
    const struct plot *plot;
    struct scale vertical;
    struct scale horizontal;
    double low; /* of the axis */
    double high;
    double duration;
    size_t label_width;
    int width; /* of the drawing proper, characters */
    int height;
    struct canvas *canvas;
};

static char *axis_label(char text[NOTATION_SIZE], const struct scale *scale, long k,
                        const char *unit, bool ascii)
{
    notation_plain(text, NOTATION_SIZE, scale_line(scale, k), unit);
    char *const printable = text_printable(text, ascii);
    snprintf(text, NOTATION_SIZE, "%s", printable);
    free(printable);
    return text;
}

static bool find_extremes(const struct plot *plot, double *low, double *high)
{
    *low = INFINITY;
    *high = -INFINITY;
    for (size_t i = 0; i < plot->count; i++) {
        if (!isfinite(plot->samples[i]))
            return false;
        *low = fmin(*low, plot->samples[i]);
        *high = fmax(*high, plot->samples[i]);
    }
    return plot->count >= 2 && isfinite(plot->interval) && plot->interval > 0;
}

/* A flat trace is shown on an axis of a few of its steps, not blown up to full height. */
static void widen_flat(const struct plot *plot, double *low, double *high)
{
    const double magnitude = fmax(fabs(*low), fabs(*high));
    double least = magnitude > 0 ? magnitude * 1e-6 : 1e-6;
    if (isfinite(plot->resolution) && plot->resolution > 0)
        least = fmax(least, 4 * plot->resolution);
    if (*high - *low < least) {
        const double middle = *low + (*high - *low) / 2;
        *low = middle - least / 2;
        *high = middle + least / 2;
    }
}

static void measure_labels(struct drawing *drawing)
{
    char text[NOTATION_SIZE];
    for (long k = drawing->vertical.first; k <= drawing->vertical.last; k++) {
        axis_label(text, &drawing->vertical, k, drawing->plot->unit, drawing->plot->ascii);
        const size_t width = text_width(text);
        if (width > drawing->label_width)
            drawing->label_width = width;
    }
}

static int at_least(int value, int least)
{
    return value < least ? least : value;
}

static bool prepare(struct drawing *drawing, const struct plot *plot)
{
    *drawing = (struct drawing) { .plot = plot };
    double low;
    double high;
    if (!find_extremes(plot, &low, &high))
        return false;
    widen_flat(plot, &low, &high);
    drawing->height = at_least(plot->height, PLOT_LEAST_HEIGHT);
    if (!scale_fit(low, high, drawing->height / ROWS_PER_LINE, true, &drawing->vertical))
        return false;
    drawing->low = scale_line(&drawing->vertical, drawing->vertical.first);
    drawing->high = scale_line(&drawing->vertical, drawing->vertical.last);
    measure_labels(drawing);
    const int taken = (int)drawing->label_width + 2;
    drawing->width =
        at_least(at_least(plot->width, PLOT_LEAST_WIDTH) - taken, PLOT_LEAST_WIDTH / 2);
    drawing->duration = (double)(plot->count - 1) * plot->interval;
    return scale_fit(0, drawing->duration, at_least(drawing->width / COLUMNS_PER_LINE, 1), false,
                     &drawing->horizontal);
}

static int dot_row(const struct drawing *drawing, double value)
{
    const int dots = canvas_dot_rows(drawing->canvas);
    const double share = (value - drawing->low) / (drawing->high - drawing->low);
    return (int)lround(share * (dots - 1));
}

static int dot_column(const struct drawing *drawing, double share)
{
    return (int)lround(share * (canvas_dot_columns(drawing->canvas) - 1));
}

/* Widens a column's span so that it holds the row. */
static void span_hold(struct span *span, int row)
{
    if (span->low > span->high)
        *span = (struct span) { row, row };
    span->low = row < span->low ? row : span->low;
    span->high = row > span->high ? row : span->high;
}

/* Takes the line from one sample to the next into the spans of the columns it crosses. */
static void cross_columns(const struct drawing *drawing, size_t i, struct span *spans)
{
    const struct plot *const plot = drawing->plot;
    const double last = (double)(plot->count - 1);
    const int from = dot_column(drawing, (double)i / last);
    const int to = dot_column(drawing, (double)(i + 1) / last);
    const double rise = plot->samples[i + 1] - plot->samples[i];
    for (int column = from; column <= to; column++) {
        const double share = to > from ? (double)(column - from) / (to - from) : 0;
        span_hold(&spans[column], dot_row(drawing, plot->samples[i] + share * rise));
    }
    span_hold(&spans[to], dot_row(drawing, plot->samples[i + 1]));
}

/* Stretches each span until it touches the one before it. */
static void join_neighbours(struct span *spans, int count)
{
    for (int column = count - 1; column > 0; column--) {
        const struct span before = spans[column - 1];
        if (spans[column].low > before.high + 1)
            spans[column].low = before.high + 1;
        else if (spans[column].high < before.low - 1)
            spans[column].high = before.low - 1;
    }
}

static void draw_trace(struct drawing *drawing)
{
    const int columns = canvas_dot_columns(drawing->canvas);
    struct span *const spans = memory_zeroed((size_t)columns, sizeof *spans);
    for (int column = 0; column < columns; column++)
        spans[column] = (struct span) { 1, 0 };
    for (size_t i = 0; i + 1 < drawing->plot->count; i++)
        cross_columns(drawing, i, spans);
    join_neighbours(spans, columns);
    for (int column = 0; column < columns; column++)
        canvas_column(drawing->canvas, column, spans[column]);
    free(spans);
}

static int line_row(const struct drawing *drawing, long k)
{
    return canvas_row_of(drawing->canvas, dot_row(drawing, scale_line(&drawing->vertical, k)));
}

static int line_column(const struct drawing *drawing, long k)
{
    const double share = scale_line(&drawing->horizontal, k) / drawing->duration;
    return canvas_column_of(drawing->canvas, dot_column(drawing, fmin(share, 1)));
}

static void draw_grid(struct drawing *drawing)
{
    for (long k = drawing->vertical.first; k <= drawing->vertical.last; k++)
        canvas_grid_row(drawing->canvas, line_row(drawing, k));
    for (long k = drawing->horizontal.first; k <= drawing->horizontal.last; k++)
        canvas_grid_column(drawing->canvas, line_column(drawing, k));
}

/* The label of the line in this row, or "". */
static const char *row_label(const struct drawing *drawing, int row, char text[NOTATION_SIZE])
{
    for (long k = drawing->vertical.first; k <= drawing->vertical.last; k++) {
        if (line_row(drawing, k) == row) {
            return axis_label(text, &drawing->vertical, k, drawing->plot->unit,
                              drawing->plot->ascii);
        }
    }
    return "";
}

static void write_rows(const struct drawing *drawing, FILE *stream)
{
    const bool ascii = drawing->plot->ascii;
    char text[NOTATION_SIZE];
    for (int row = 0; row < drawing->height; row++) {
        const char *const label = row_label(drawing, row, text);
        const char *const axis = *label != '\0' ? (ascii ? "+" : "┤") : (ascii ? "|" : "│");
        const int blanks = (int)(drawing->label_width - text_width(label));
        fprintf(stream, "%*s%s %s", blanks, "", label, axis);
        canvas_write_row(drawing->canvas, row, stream);
        fputc('\n', stream);
    }
}

static bool is_line_column(const struct drawing *drawing, int column)
{
    for (long k = drawing->horizontal.first; k <= drawing->horizontal.last; k++)
        if (line_column(drawing, k) == column)
            return true;
    return false;
}

static void write_axis(const struct drawing *drawing, FILE *stream)
{
    const bool ascii = drawing->plot->ascii;
    fprintf(stream, "%*s %s", (int)drawing->label_width, "", ascii ? "+" : "└");
    for (int column = 0; column < drawing->width; column++) {
        const bool line = is_line_column(drawing, column);
        fputs(line ? (ascii ? "+" : "┴") : (ascii ? "-" : "─"), stream);
    }
    fputc('\n', stream);
}

/* Labels stand centred under their lines; one that would touch the one before is left out. */
static void write_times(const struct drawing *drawing, FILE *stream)
{
    int at = 0;
    char text[NOTATION_SIZE];
    for (long k = drawing->horizontal.first; k <= drawing->horizontal.last; k++) {
        axis_label(text, &drawing->horizontal, k, "s", drawing->plot->ascii);
        const int width = (int)text_width(text);
        const int line = (int)drawing->label_width + 2 + line_column(drawing, k);
        const int end = (int)drawing->label_width + 2 + drawing->width;
        int start = line - width / 2;
        start = start + width > end ? end - width : start;
        if (start > at || at == 0) {
            fprintf(stream, "%*s%s", start - at, "", text);
            at = start + width;
        }
    }
    fputc('\n', stream);
}

char *plot_draw(const struct plot *plot)
{
    struct drawing drawing;
    char *text = NULL;
    size_t size = 0;
    if (!prepare(&drawing, plot))
        return NULL;
    FILE *const stream = open_memstream(&text, &size);
    if (stream == NULL)
        return NULL;
    drawing.canvas = canvas_new(drawing.width, drawing.height, plot->ascii);
    draw_grid(&drawing);
    draw_trace(&drawing);
    write_rows(&drawing, stream);
    write_axis(&drawing, stream);
    write_times(&drawing, stream);
    canvas_free(drawing.canvas);
    if (fclose(stream) != 0) {
        free(text);
        return NULL;
    }
    return text;
}
