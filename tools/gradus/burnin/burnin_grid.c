/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The units under test in a grid: each with its worst margin to a limit. */
#include "burnin_priv.h"

#include "tools/gradus/basics/field.h"
#include "tools/gradus/basics/margin.h"
#include "tools/gradus/basics/memory.h"
#include "tools/gradus/basics/terminal_text.h"
#include "tools/gradus/screen/fit.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { MARGIN = 4, GAP = 3, LABEL_MOST = 24 };

/* The unit of that label, new ones at the end. There is room for all. */
static struct unit *unit_of(struct grid *grid, const json_t *point)
{
    char label[BURNIN_LABEL];
    const double number = field_number(point, "unit_number");
    if (isnan(number))
        snprintf(label, sizeof label, "%s", field_text_or_empty(point, "point"));
    else
        snprintf(label, sizeof label, "%.0f", number);
    for (size_t i = 0; i < grid->count; i++)
        if (strcmp(grid->units[i].label, label) == 0)
            return &grid->units[i];
    struct unit *const unit = &grid->units[grid->count++];
    *unit = (struct unit) { .worst = (double)NAN, .place = grid->count };
    memcpy(unit->label, label, sizeof label);
    const size_t width = text_width(label);
    if (width > grid->label)
        grid->label = width < LABEL_MOST ? width : LABEL_MOST;
    return unit;
}

static void add_point(struct grid *grid, const json_t *point)
{
    const char *const state = field_text_or_empty(point, "state");
    struct unit *const unit = unit_of(grid, point);
    unit->worst = fmin(unit->worst, field_number(point, "worst_margin"));
    unit->dead = unit->dead || field_true(point, "dead");
    unit->tripped = unit->tripped || strcmp(state, "tripped") == 0;
    unit->troubled =
        unit->troubled || strcmp(state, "failing") == 0 || strcmp(state, "not measured") == 0;
    unit->drifting = unit->drifting || field_at(point, "trend.meets") != NULL;
}

struct grid grid_of(const json_t *points)
{
    struct grid grid = { .units = memory_zeroed(json_array_size(points) + 1, sizeof *grid.units) };
    size_t index;
    const json_t *point;
    json_array_foreach(points, index, point)
    {
        add_point(&grid, point);
    }
    for (size_t i = 0; i < grid.count; i++) {
        const struct unit *const unit = &grid.units[i];
        size_t *const kind = unit->tripped    ? &grid.tripped
                             : unit->troubled ? &grid.troubled
                             : unit->drifting ? &grid.drifting
                                              : &grid.well;
        ++*kind;
    }
    return grid;
}

void grid_free(struct grid *grid)
{
    free(grid->units);
    grid->units = NULL;
}

static size_t units_across(const struct grid *grid, int columns)
{
    const size_t cell = grid->label + MARGIN + GAP;
    const size_t across = ((size_t)columns + 1) / cell; /* no blank after the last one */
    return across > 0 ? across : 1;
}

size_t grid_lines(const struct grid *grid, int columns)
{
    const size_t across = units_across(grid, columns);
    return (grid->count + across - 1) / across;
}

/* The worst margin in percent; a word for what has tripped, is dead or far outside; a mark for trouble. */
static void draw_cell(const struct terminal *terminal, FILE *stream, const struct unit *unit,
                      size_t label)
{
    char text[16];
    enum style style = unit->troubled || unit->drifting ? STYLE_DOUBT : STYLE_PLAIN;
    const char *mark = unit->troubled ? "?" : unit->drifting ? ">" : " ";
    if (unit->tripped) {
        snprintf(text, sizeof text, "TRIP");
        style = STYLE_BAD;
        mark = " ";
    } else if (unit->dead) {
        snprintf(text, sizeof text, "dead");
        style = STYLE_BAD;
    } else if (isnan(unit->worst)) {
        snprintf(text, sizeof text, "-");
    } else if (margin_is_far(unit->worst)) {
        snprintf(text, sizeof text, "far");
    } else {
        snprintf(text, sizeof text, "%.0f", floor(100 * unit->worst));
    }
    const size_t width = text_width(unit->label);
    fprintf(stream, "%*s", width < label ? (int)(label - width) : 0, "");
    fit_put(terminal, stream, unit->label, width < label ? width : label);
    fputc(' ', stream);
    terminal_style(terminal, stream, style);
    fprintf(stream, "%*s%s", MARGIN, text, mark);
    terminal_style(terminal, stream, STYLE_PLAIN);
}

/* 3 tripped, 2 to check, 1 drifting, 0 well. */
static int severity(const struct unit *unit)
{
    return unit->tripped ? 3 : unit->troubled ? 2 : unit->drifting ? 1 : 0;
}

static int worst_first(const void *a, const void *b)
{
    const struct unit *const x = a;
    const struct unit *const y = b;
    if (severity(x) != severity(y))
        return severity(y) - severity(x);
    const double left = isnan(x->worst) ? (double)INFINITY : x->worst;
    const double right = isnan(y->worst) ? (double)INFINITY : y->worst;
    if (left != right)
        return left < right ? -1 : 1;
    return (x->place > y->place) - (x->place < y->place);
}

static void draw_units(const struct terminal *terminal, FILE *stream, const struct grid *grid,
                       size_t count)
{
    const size_t across = units_across(grid, terminal->columns);
    for (size_t i = 0; i < count; i++) {
        draw_cell(terminal, stream, &grid->units[i], grid->label);
        fputs((i + 1) % across == 0 || i + 1 == count ? "\n" : " ", stream);
    }
}

/* What is not drawn, which is no worse than what is. */
static void draw_rest(FILE *stream, const struct grid *grid, size_t from)
{
    size_t tripped = 0;
    size_t troubled = 0;
    double worst = (double)NAN;
    char margin[MARGIN_TEXT];
    for (size_t i = from; i < grid->count; i++) {
        tripped += grid->units[i].tripped;
        troubled += !grid->units[i].tripped && grid->units[i].troubled;
        worst = fmin(worst, grid->units[i].worst);
    }
    fprintf(stream, "worst first; %zu more do not fit", grid->count - from);
    if (tripped > 0)
        fprintf(stream, ", %zu of them tripped", tripped);
    if (troubled > 0)
        fprintf(stream, ", %zu to check", troubled);
    if (!isnan(worst))
        fprintf(stream, ", the worst of them at %s", margin_text(worst, margin));
    fputc('\n', stream);
}

void grid_draw(const struct terminal *terminal, FILE *stream, const struct grid *grid, size_t lines)
{
    if (grid_lines(grid, terminal->columns) <= lines) {
        draw_units(terminal, stream, grid, grid->count);
        return;
    }
    struct grid sorted = *grid;
    const size_t drawn = (lines > 0 ? lines - 1 : 0) * units_across(grid, terminal->columns);
    sorted.units = memory_zeroed(grid->count + 1, sizeof *sorted.units);
    memcpy(sorted.units, grid->units, grid->count * sizeof *sorted.units);
    qsort(sorted.units, sorted.count, sizeof *sorted.units, worst_first);
    draw_units(terminal, stream, &sorted, drawn);
    draw_rest(stream, &sorted, drawn);
    grid_free(&sorted);
}
