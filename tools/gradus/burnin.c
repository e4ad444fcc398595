/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Burn-ins: begin, stop, and how they are doing on one screen. */
#include "ask.h"
#include "burnin_report.h"
#include "field.h"
#include "status.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { WIDTH = 80, LABEL = 64, CELL_GAP = 3, MARGIN = 4 };

/* One unit under test, or a point that belongs to none. */
struct unit {
    char label[LABEL];
    double worst; /* margin to a limit, 1 at best; NAN: not known */
    bool tripped;
    bool troubled; /* the last measurement failed or came to nothing */
};

struct grid {
    struct unit *units;
    size_t count;
    size_t label; /* columns of the widest one */
};

/* The unit of that label, new ones at the end. There is room for all. */
static struct unit *unit_of(struct grid *grid, const json_t *point)
{
    char label[LABEL];
    const double number = field_number(point, "unit_number");
    if (isnan(number)) {
        snprintf(label, sizeof label, "%s", field_text_or_empty(point, "point"));
    } else {
        snprintf(label, sizeof label, "%.0f", number);
    }
    for (size_t i = 0; i < grid->count; i++) {
        if (strcmp(grid->units[i].label, label) == 0) {
            return &grid->units[i];
        }
    }
    struct unit *const unit = &grid->units[grid->count++];
    *unit = (struct unit) { .worst = NAN };
    memcpy(unit->label, label, sizeof label);
    if (strlen(label) > grid->label) {
        grid->label = strlen(label);
    }
    return unit;
}

static void add_point(struct grid *grid, const json_t *point)
{
    const char *const state = field_text_or_empty(point, "state");
    struct unit *const unit = unit_of(grid, point);
    unit->worst = fmin(unit->worst, field_number(point, "worst_margin"));
    unit->tripped = unit->tripped || strcmp(state, "tripped") == 0;
    unit->troubled =
        unit->troubled || strcmp(state, "failing") == 0 || strcmp(state, "no reading") == 0;
}

/* The worst margin in percent, a word for what has tripped, a mark for what is in trouble. */
static void print_cell(const struct terminal *terminal, const struct unit *unit, size_t label)
{
    char text[16];
    enum style style = unit->troubled ? STYLE_DOUBT : STYLE_PLAIN;
    if (unit->tripped) {
        snprintf(text, sizeof text, "TRIP");
        style = STYLE_BAD;
    } else if (isnan(unit->worst)) {
        snprintf(text, sizeof text, "-");
    } else {
        snprintf(text, sizeof text, "%.0f", fmax(-999, floor(100 * unit->worst)));
    }
    terminal_print(terminal, stdout, "%*s ", (int)label, unit->label);
    terminal_style(terminal, stdout, style);
    terminal_print(terminal, stdout, "%*s%s", MARGIN, text,
                   unit->troubled && !unit->tripped ? "?" : " ");
    terminal_style(terminal, stdout, STYLE_PLAIN);
}

static void print_grid(const struct terminal *terminal, const struct grid *grid)
{
    const size_t cell = grid->label + MARGIN + CELL_GAP;
    const size_t across = cell < WIDTH ? WIDTH / cell : 1;
    for (size_t i = 0; i < grid->count; i++) {
        print_cell(terminal, &grid->units[i], grid->label);
        fputs((i + 1) % across == 0 || i + 1 == grid->count ? "\n" : " ", stdout);
    }
}

/* "3 d 04:05:06". */
static void duration_text(double seconds, char *text, size_t size)
{
    const long whole = (long)ceil(seconds);
    const int length = whole >= 86400 ? snprintf(text, size, "%ld d ", whole / 86400) : 0;
    snprintf(text + length, size - (size_t)length, "%02ld:%02ld:%02ld", whole % 86400 / 3600,
             whole % 3600 / 60, whole % 60);
}

static void print_bar(double share, double round, double rounds)
{
    enum { BAR = 44 };
    char bar[BAR + 1];
    const int full = (int)(BAR * fmin(1, fmax(0, share)));
    memset(bar, '.', BAR);
    memset(bar, '#', (size_t)full);
    bar[BAR] = '\0';
    printf("[%s] %3.0f %%  round %.0f of %.0f\n", bar, floor(100 * fmin(1, fmax(0, share))), round,
           rounds);
}

/* Where it is, what comes next, and what did not go as planned. */
static void print_head(const struct terminal *terminal, const json_t *run)
{
    char left[32];
    char next[32];
    const double round = field_number(run, "round");
    const double rounds = field_number(run, "rounds");
    const bool ended = strcmp(field_text_or_empty(run, "state"), "ended") == 0;
    terminal_print(terminal, stdout, "%s  %s%s%s%s\n", field_text_or_empty(run, "run"),
                   ended ? "ended: " : "phase ", field_text_or_empty(run, ended ? "why" : "phase"),
                   field_true(run, "warm_up") ? ", warm-up" : "",
                   field_number(run, "gaps") > 0 ? ", resumed" : "");
    print_bar(round / rounds, round, rounds);
    if (!ended) {
        duration_text(field_number(run, "left_s"), left, sizeof left);
        printf("%s left", left);
        if (isfinite(field_number(run, "next_s"))) {
            duration_text(field_number(run, "next_s"), next, sizeof next);
            printf(", next round in %s", next);
        }
        puts("");
    }
    printf("rounds late %.0f, missed %.0f; gaps %.0f; clock jumps %.0f\n",
           field_number(run, "late"), field_number(run, "missed"), field_number(run, "gaps"),
           field_number(run, "clock_jumps"));
}

/* What tripped and when; true when anything has. */
static bool print_trips(const struct terminal *terminal, const json_t *points)
{
    size_t index;
    const json_t *point;
    bool any = false;
    json_array_foreach(points, index, point)
    {
        const char *const when = field_text(point, "trip_time");
        if (when == NULL) {
            continue;
        }
        if (!any) {
            puts("tripped");
        }
        any = true;
        terminal_print(terminal, stdout, "  %.19sZ  round %-7.0f  %-10s  %s\n", when,
                       field_number(point, "trip_round"), field_text_or_empty(point, "cause"),
                       field_text_or_empty(point, "point"));
    }
    return any;
}

static int show_run(const struct session *session, const json_t *run)
{
    const json_t *const points = field_at(run, "points");
    struct grid grid = { .units = calloc(json_array_size(points) + 1, sizeof *grid.units) };
    size_t index;
    const json_t *point;
    if (grid.units == NULL) {
        terminal_complain(session->terminal, "no memory");
        return STATUS_NO_READING;
    }
    json_array_foreach(points, index, point)
    {
        add_point(&grid, point);
    }
    print_head(session->terminal, run);
    puts("worst margin to a limit in % of the way to it; ? in trouble now");
    print_grid(session->terminal, &grid);
    free(grid.units);
    return print_trips(session->terminal, points) ? STATUS_FAIL : STATUS_PASS;
}

/* The runs one below the other; with none, the plans there are. */
static int show_status(const struct session *session, json_t *result)
{
    const json_t *const runs = field_at(result, "runs");
    const json_t *const plans = field_at(result, "plans");
    size_t index;
    const json_t *item;
    int status = STATUS_PASS;
    json_array_foreach(runs, index, item)
    {
        fputs(index > 0 ? "\n" : "", stdout);
        status = status_worse(status, show_run(session, item));
    }
    if (json_array_size(runs) > 0) {
        return status;
    }
    puts(json_array_size(plans) > 0 ? "no run; plans:" : "no run, and no plans in the settings");
    json_array_foreach(plans, index, item)
    {
        terminal_print(session->terminal, stdout, "  %s\n", json_string_value(item));
    }
    return STATUS_PASS;
}

static int show_run_name(const struct session *session, json_t *result)
{
    terminal_print(session->terminal, stdout, "%s\n", field_text_or_empty(result, "run"));
    return STATUS_PASS;
}

static int run(const struct session *session)
{
    const char *const what = session->operands[0];
    const char *const name = session->operand_count > 1 ? session->operands[1] : NULL;
    if (strcmp(what, "status") == 0) {
        return ask(session, name, "burnin.status",
                   name != NULL ? json_pack("{s:s}", "run", name) : json_object(), ASK_PLAIN_MS,
                   show_status);
    }
    if (strcmp(what, "report") == 0 && name != NULL) {
        return burnin_report(session);
    }
    const bool start = strcmp(what, "start") == 0;
    if ((!start && strcmp(what, "stop") != 0) || name == NULL) {
        terminal_complain(session->terminal,
                          "expected burnin start PLAN, burnin stop RUN or burnin status");
        return STATUS_USAGE;
    }
    return ask(session, name, start ? "burnin.start" : "burnin.stop",
               json_pack("{s:s}", start ? "plan" : "run", name), ASK_PLAIN_MS, show_run_name);
}

const struct command command_burnin = {
    .name = "burnin",
    .arguments = "start PLAN | stop RUN | status [RUN] | report RUN",
    .summary = "begin, stop or watch a burn-in",
    .usage = "start begins a run of a plan of the settings and prints the run's name; stop ends a\n"
             "run (or that of a plan) before its time. status shows for each run how far it is,\n"
             "the worst margin of each unit to a limit, what tripped and when, the next round and\n"
             "the time left; its exit status is 1 when anything has tripped.\n"
             "This is no safety device: nothing here may be what keeps people or equipment from\n"
             "harm.\n",
    .options = OPTION_HTML | OPTION_PDF,
    .least = 1,
    .most = 2,
    .run = run,
};
