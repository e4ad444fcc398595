/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Runs on one screen: how far they are, the grid of units, what there is to tell of points. */
#include "burnin_priv.h"

#include "tools/gradus/basics/field.h"
#include "tools/gradus/basics/memory.h"
#include "tools/gradus/basics/span.h"
#include "tools/gradus/basics/status.h"
#include "tools/gradus/screen/fit.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* Besides the bar its line has room for "] 100 %  round 1234567 of 1234567". */
enum { BAR_LEAST = 10, BAR_MOST = 120, BESIDE_BAR = 36, RUN_LEAST = 9, OTHERS_SHARE = 6 };

bool burnin_goes_on(const json_t *run)
{
    return strcmp(field_text_or_empty(run, "state"), "ended") != 0;
}

static void draw_bar(FILE *stream, int columns, double round, double rounds)
{
    char bar[BAR_MOST + 1];
    const double done = round / rounds;
    const double share = done >= 0 ? fmin(1, done) : 0;
    const int width = (int)fmin(fmax(columns - BESIDE_BAR, BAR_LEAST), BAR_MOST);
    const int full = (int)(width * share);
    memset(bar, '.', (size_t)width);
    memset(bar, '#', (size_t)full);
    bar[width] = '\0';
    fprintf(stream, "[%s] %3.0f %%  round %.0f of %.0f\n", bar, floor(100 * share), round, rounds);
}

static void draw_ahead(FILE *stream, const json_t *run)
{
    char left[32];
    char next[32];
    span_text((long)ceil(field_number(run, "left_s")), left, sizeof left);
    fprintf(stream, "%s left", left);
    if (isfinite(field_number(run, "next_s"))) {
        span_text((long)ceil(field_number(run, "next_s")), next, sizeof next);
        fprintf(stream, ", next round in %s", next);
    }
    fputc('\n', stream);
}

/* What a phase's command does to the run: it is waited for, or failed and holds it. */
static void draw_command(const struct terminal *terminal, FILE *stream, const json_t *run)
{
    const json_t *const command = field_at(run, "command");
    const bool held = strcmp(field_text_or_empty(command, "state"), "failed") == 0;
    const bool begin = strcmp(field_text_or_empty(command, "when"), "begins") == 0;
    terminal_style(terminal, stream, held ? STYLE_BAD : STYLE_DOUBT);
    terminal_print(terminal, stream, "%sthe %s command of phase %s %s", held ? "held: " : "",
                   begin ? "begin" : "end", field_text_or_empty(command, "phase"),
                   held ? "failed; gradus burnin continue runs it again" : "runs");
    terminal_style(terminal, stream, STYLE_PLAIN);
    fputc('\n', stream);
}

/* Where it is, what comes next, and what did not go as planned. */
static void draw_head(const struct terminal *terminal, FILE *stream, const json_t *run)
{
    const bool goes_on = burnin_goes_on(run);
    terminal_style(terminal, stream, STYLE_HEADING);
    terminal_print(terminal, stream, "%s", field_text_or_empty(run, "run"));
    terminal_style(terminal, stream, STYLE_PLAIN);
    terminal_print(terminal, stream, "  %s%s%s%s\n", goes_on ? "phase " : "ended: ",
                   field_text_or_empty(run, goes_on ? "phase" : "why"),
                   field_true(run, "warm_up") ? ", warm-up" : "",
                   field_number(run, "gaps") > 0 ? ", resumed after a restart" : "");
    draw_bar(stream, terminal->columns, field_number(run, "round"), field_number(run, "rounds"));
    if (field_at(run, "command") != NULL)
        draw_command(terminal, stream, run);
    else if (goes_on)
        draw_ahead(stream, run);
    fprintf(stream, "rounds late %.0f, missed %.0f; restarts %.0f; clock set %.0f times\n",
            field_number(run, "late"), field_number(run, "missed"), field_number(run, "gaps"),
            field_number(run, "clock_jumps"));
}

static void put_count(const struct terminal *terminal, FILE *stream, const char *what, size_t count,
                      enum style style)
{
    if (count > 0) {
        fputs(", ", stream);
        terminal_style(terminal, stream, style);
        fprintf(stream, "%zu %s", count, what);
        terminal_style(terminal, stream, STYLE_PLAIN);
    }
}

static void put_counts(const struct terminal *terminal, FILE *stream, const struct grid *grid)
{
    fprintf(stream, "%zu within limits", grid->well);
    put_count(terminal, stream, "tripped", grid->tripped, STYLE_BAD);
    put_count(terminal, stream, "to check", grid->troubled, STYLE_DOUBT);
    put_count(terminal, stream, "drifting", grid->drifting, STYLE_DOUBT);
}

static void draw_summary(const struct terminal *terminal, FILE *stream, const struct grid *grid)
{
    fputs("units: ", stream);
    put_counts(terminal, stream, grid);
    fputc('\n', stream);
    fputs(terminal->columns >= 80
              ? "worst margin in % (100 amid limits, 0 at one, far < -100); ? to check, > drift\n"
              : "worst margin in %, far < -100; ? to check, > drift\n",
          stream);
}

/* Lines above the grid. */
static size_t head_lines(const json_t *run)
{
    return burnin_goes_on(run) || field_at(run, "command") != NULL ? 6 : 5;
}

/* Lines that a run takes when there is room for all of it. */
static size_t run_lines(const json_t *run, int columns)
{
    const json_t *const points = field_at(run, "points");
    struct grid grid = grid_of(points);
    struct findings findings = findings_of(points);
    const size_t lines = head_lines(run) + grid_lines(&grid, columns) + findings_lines(&findings);
    findings_free(&findings);
    grid_free(&grid);
    return lines;
}

void burnin_draw(const struct terminal *terminal, FILE *stream, const json_t *run, size_t lines)
{
    const json_t *const points = field_at(run, "points");
    struct grid grid = grid_of(points);
    struct findings findings = findings_of(points);
    const size_t head = head_lines(run);
    const size_t wanted[] = { grid_lines(&grid, terminal->columns), findings_lines(&findings) };
    size_t given[] = { wanted[0], wanted[1] };
    if (lines > 0)
        fit_lines(lines > head + 1 ? lines - head : 1, wanted, 2, given);
    draw_head(terminal, stream, run);
    draw_summary(terminal, stream, &grid);
    grid_draw(terminal, stream, &grid, given[0]);
    findings_draw(terminal, stream, &findings, given[1]);
    findings_free(&findings);
    grid_free(&grid);
}

void burnin_draw_line(const struct terminal *terminal, FILE *stream, const json_t *run)
{
    const bool goes_on = burnin_goes_on(run);
    struct grid grid = grid_of(field_at(run, "points"));
    terminal_print(
        terminal, stream, "%s  %s%s  round %.0f of %.0f; units: ", field_text_or_empty(run, "run"),
        goes_on ? "phase " : "ended: ", field_text_or_empty(run, goes_on ? "phase" : "why"),
        field_number(run, "round"), field_number(run, "rounds"));
    put_counts(terminal, stream, &grid);
    fputc('\n', stream);
    grid_free(&grid);
}

/* A run that is held waits for somebody, as one where something has tripped. */
static bool has_tripped(const json_t *run)
{
    if (strcmp(field_text_or_empty(run, "state"), "held") == 0)
        return true;
    const json_t *const points = field_at(run, "points");
    size_t index;
    const json_t *point;
    json_array_foreach(points, index, point)
    {
        if (field_text(point, "trip_time") != NULL)
            return true;
    }
    return false;
}

/* Which runs are drawn whole: those that go on, else the newest. Returns how many. */
static size_t choose_runs(const json_t *runs, bool *whole)
{
    size_t count = 0;
    size_t index;
    const json_t *run;
    json_array_foreach(runs, index, run)
    {
        whole[index] = burnin_goes_on(run);
        count += whole[index];
    }
    if (count == 0) {
        whole[index - 1] = true;
        count = 1;
    }
    return count;
}

/* The oldest are told in a line each until the rest has room. Returns how many are drawn whole. */
static size_t narrow_choice(bool *whole, size_t count, size_t drawn, size_t lines)
{
    for (size_t i = 0; i < count && drawn > 1 && lines / drawn < RUN_LEAST; i++) {
        drawn -= whole[i];
        whole[i] = false;
    }
    return drawn;
}

/* `others` runs are not drawn whole: first those that go on, the newest of each first. */
static void draw_others(const struct terminal *terminal, FILE *stream, const json_t *runs,
                        const bool *whole, size_t others, size_t lines)
{
    const size_t count = json_array_size(runs);
    size_t shown = others <= lines ? others : lines - 1;
    const size_t left = others - shown;
    for (size_t i = 0; i < 2 * count && shown > 0; i++) {
        const size_t index = i < count ? count - 1 - i : 2 * count - 1 - i;
        const json_t *const run = json_array_get(runs, index);
        if (!whole[index] && burnin_goes_on(run) == (i < count)) {
            burnin_draw_line(terminal, stream, run);
            shown--;
        }
    }
    if (left > 0)
        fprintf(stream, "%zu more do not fit; see gradus burnin status RUN\n", left);
}

/* Divides the lines among the runs that are drawn whole; 0 lines: each has as many as it takes. */
static void share_lines(const json_t *runs, const bool *whole, int columns, size_t lines,
                        size_t *given)
{
    const size_t count = json_array_size(runs);
    size_t *const wanted = memory_zeroed(count, sizeof *wanted);
    for (size_t i = 0; i < count; i++)
        wanted[i] = whole[i] ? run_lines(json_array_get(runs, i), columns) : 0;
    if (lines > 0)
        fit_lines(lines, wanted, count, given);
    else
        memset(given, 0, count * sizeof *given);
    free(wanted);
}

static void draw_whole(const struct terminal *terminal, FILE *stream, const json_t *runs,
                       const bool *whole, size_t lines)
{
    const size_t count = json_array_size(runs);
    size_t *const given = memory_zeroed(count, sizeof *given);
    const char *between = "";
    share_lines(runs, whole, terminal->columns, lines, given);
    for (size_t i = 0; i < count; i++) {
        if (whole[i]) {
            fputs(between, stream);
            burnin_draw(terminal, stream, json_array_get(runs, i), given[i]);
            between = "\n";
        }
    }
    free(given);
}

static void draw_runs(const struct terminal *terminal, FILE *stream, const json_t *runs,
                      size_t lines)
{
    const size_t count = json_array_size(runs);
    bool *const whole = memory_zeroed(count, sizeof *whole);
    size_t drawn = choose_runs(runs, whole);
    drawn = lines > 0 ? narrow_choice(whole, count, drawn, lines) : drawn;
    const size_t others = count - drawn;
    size_t other_lines = others;
    size_t room = 0;
    if (lines > 0) {
        const size_t most = lines / OTHERS_SHARE > 0 ? lines / OTHERS_SHARE : 1;
        other_lines = others < most ? others : most;
        const size_t beside = drawn - 1 + (others > 0 ? other_lines + 1 : 0);
        room = lines > beside ? lines - beside : 1;
    }
    draw_whole(terminal, stream, runs, whole, room);
    if (others > 0) {
        fputc('\n', stream);
        draw_others(terminal, stream, runs, whole, others, other_lines);
    }
    free(whole);
}

static void draw_plans(const struct terminal *terminal, FILE *stream, const json_t *plans)
{
    size_t index;
    const json_t *plan;
    fputs(json_array_size(plans) > 0 ? "no run; plans:\n"
                                     : "no run, and no plans in the settings\n",
          stream);
    json_array_foreach(plans, index, plan)
    {
        terminal_print(terminal, stream, "  %s\n", json_string_value(plan));
    }
}

int burnin_draw_status(const struct terminal *terminal, FILE *stream, const json_t *result,
                       size_t lines)
{
    const json_t *const runs = field_at(result, "runs");
    size_t index;
    const json_t *run;
    int status = STATUS_PASS;
    if (json_array_size(runs) == 0) {
        draw_plans(terminal, stream, field_at(result, "plans"));
        return STATUS_PASS;
    }
    draw_runs(terminal, stream, runs, lines);
    json_array_foreach(runs, index, run)
    {
        status = status_worse(status, has_tripped(run) ? STATUS_FAIL : STATUS_PASS);
    }
    return status;
}
