/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "follow_live.h"

#include "tools/gradus/basics/field.h"
#include "tools/gradus/basics/memory.h"
#include "tools/gradus/basics/terminal_text.h"
#include "tools/gradus/screen/fit.h"
#include "tools/gradus/screen/frame.h"
#include "tools/gradus/screen/spark.h"
#include "tools/gradus/wire/client.h"

#include "core/basics/notation.h"

#include <math.h>
#include <stdarg.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

enum { WORD = 40, NOTE = 512, CLOCK = 9, GAP = 2, NAME_LEAST = 8, SPARK_LEAST = 8, WORDY = 72 };

/* Between two pictures; an eye sees no more of them. */
static const double pause_ms = 100;

struct row {
    char *point;
    char *caution;              /* NULL: none */
    char result[NOTATION_SIZE]; /* "-": there is none; "": nothing came yet */
    char word[WORD];            /* verdict or reason */
    char clock[CLOCK];          /* when, UTC */
    char note[NOTE];            /* warning, or what is behind the reason; "": none */
    enum style style;
    double uncertainty;
    struct spark spark;
};

struct live {
    const struct session *session;
    struct row *rows;
    size_t count;
    char note[NOTE];
    double drawn_at;
    bool news;
};

/* What the columns of one picture take; 0: left out. */
struct layout {
    size_t name;
    size_t result;
    size_t word;
    size_t clock;
    size_t spark;
};

struct live *live_open(const struct session *session)
{
    struct live *const live = memory_zeroed(1, sizeof *live);
    live->session = session;
    live->news = true;
    frame_open();
    return live;
}

void live_add(struct live *live, const char *point, const char *caution)
{
    live->rows = memory_resize(live->rows, live->count + 1, sizeof *live->rows);
    live->rows[live->count] =
        (struct row) { .point = memory_text(point), .uncertainty = (double)NAN };
    live->rows[live->count].caution = caution != NULL ? memory_text(caution) : NULL;
    live->count++;
}

/* NULL: it is none of those that are followed. */
static struct row *row_of(struct live *live, const char *point)
{
    for (size_t i = 0; point != NULL && i < live->count; i++)
        if (strcmp(live->rows[i].point, point) == 0)
            return &live->rows[i];
    return NULL;
}

/* "12:34:56" out of "2026-01-31T12:34:56.123Z". */
static void show_clock(struct row *row, const char *time)
{
    const char *const hours = time != NULL ? strchr(time, 'T') : NULL;
    snprintf(row->clock, sizeof row->clock, "%.8s", hours != NULL ? hours + 1 : "");
}

static void show_warnings(struct row *row, const json_t *reading)
{
    const json_t *const warnings = field_at(reading, "warnings");
    const char *const text = json_string_value(json_array_get(warnings, 0));
    const size_t count = json_array_size(warnings);
    row->note[0] = '\0';
    if (text != NULL && count > 1)
        snprintf(row->note, sizeof row->note, "warning: %s (and %zu more)", text, count - 1);
    else if (text != NULL)
        snprintf(row->note, sizeof row->note, "warning: %s", text);
}

void live_reading(struct live *live, const json_t *reading)
{
    struct row *const row = row_of(live, field_text(reading, "point"));
    const double value = field_number(reading, "value");
    live->news = true;
    if (row == NULL)
        return;
    row->uncertainty = field_number(reading, "uncertainty");
    notation_result(row->result, sizeof row->result, value, row->uncertainty,
                    live->session->options->digits, field_text(reading, "unit"));
    snprintf(row->word, sizeof row->word, "%s", field_text_or_empty(reading, "verdict"));
    row->style = terminal_verdict_style(row->word);
    show_clock(row, field_text(reading, "time"));
    show_warnings(row, reading);
    spark_add(&row->spark, value);
}

void live_failure(struct live *live, const char *point, const struct fault *fault)
{
    struct row *const row = row_of(live, point);
    char detail[sizeof fault->what + sizeof fault->expected + sizeof fault->where + 16];
    fault_detail(fault, detail, sizeof detail);
    live->news = true;
    if (row == NULL) {
        live_note(live, "%s: %s", fault->reason, detail);
        return;
    }
    const time_t now = time(NULL);
    struct tm parts;
    gmtime_r(&now, &parts);
    strftime(row->clock, sizeof row->clock, "%H:%M:%S", &parts);
    snprintf(row->result, sizeof row->result, "-");
    snprintf(row->word, sizeof row->word, "%.*s", WORD - 1, fault->reason);
    snprintf(row->note, sizeof row->note, "%.*s", NOTE - 1, detail);
    row->style = STYLE_BAD;
    spark_add(&row->spark, (double)NAN);
}

void live_note(struct live *live, const char *format, ...)
{
    va_list arguments;
    va_start(arguments, format);
    vsnprintf(live->note, sizeof live->note, format, arguments);
    va_end(arguments);
    live->news = true;
}

static size_t printable_width(const struct terminal *terminal, const char *text)
{
    char *const printable = text_printable(text, terminal->ascii);
    const size_t width = text_width(printable);
    free(printable);
    return width;
}

static size_t larger(size_t a, size_t b)
{
    return a > b ? a : b;
}

/* The course has what the words leave; names give way before numbers do. */
static struct layout lay_out(const struct live *live, const struct terminal *terminal)
{
    struct layout layout = { .clock = terminal->columns >= WORDY ? CLOCK - 1 : 0 };
    for (size_t i = 0; i < live->count; i++) {
        const struct row *const row = &live->rows[i];
        layout.name = larger(layout.name, printable_width(terminal, row->point));
        layout.result = larger(layout.result, printable_width(terminal, row->result));
        layout.word = larger(layout.word, printable_width(terminal, row->word));
    }
    const size_t columns = (size_t)terminal->columns;
    const size_t words =
        layout.result + GAP + layout.word + GAP + (layout.clock > 0 ? layout.clock + GAP : 0);
    const size_t left = columns > words ? columns - words : 0;
    const size_t most = larger(left > SPARK_LEAST + GAP ? left - SPARK_LEAST - GAP : 0, NAME_LEAST);
    layout.name = layout.name < most ? layout.name : most;
    layout.spark = left > layout.name + GAP ? left - layout.name - GAP : 0;
    layout.spark = layout.spark < SPARK_LEAST ? 0 : layout.spark;
    return layout;
}

static void put_cell(const struct terminal *terminal, FILE *stream, const char *text, size_t width)
{
    if (width > 0) {
        fit_put(terminal, stream, text, width);
        fputs("  ", stream);
    }
}

static void write_row(const struct terminal *terminal, FILE *stream, const struct row *row,
                      const struct layout *layout)
{
    char course[SPARK_TEXT] = "";
    put_cell(terminal, stream, row->clock, layout->clock);
    put_cell(terminal, stream, row->point, layout->name);
    put_cell(terminal, stream, row->result, layout->result);
    terminal_style(terminal, stream, row->style);
    put_cell(terminal, stream, row->word, layout->word);
    terminal_style(terminal, stream, STYLE_PLAIN);
    spark_draw(&row->spark, layout->spark, row->uncertainty, terminal->ascii, course);
    fprintf(stream, "%s\n", course);
}

/* 0 for what fails, 1 for what is in doubt, 2 for the rest. */
static int urgency(const struct row *row)
{
    return row->style == STYLE_BAD ? 0 : row->style == STYLE_DOUBT ? 1 : 2;
}

/* All rows in their order, or so many with the bad ones first. */
static void write_rows(const struct live *live, const struct terminal *terminal, FILE *stream,
                       size_t lines)
{
    const struct layout layout = lay_out(live, terminal);
    const bool all = live->count <= lines;
    size_t left = all ? live->count : lines - 1;
    for (int pass = all ? 2 : 0; pass < 3; pass++) {
        for (size_t i = 0; i < live->count && left > 0; i++) {
            if (all || urgency(&live->rows[i]) == pass) {
                write_row(terminal, stream, &live->rows[i], &layout);
                left--;
            }
        }
    }
    if (!all) {
        fprintf(stream, "%zu more points do not fit; those that fail come first\n",
                live->count - (lines - 1));
    }
}

static size_t count_notes(const struct live *live)
{
    size_t notes = 0;
    for (size_t i = 0; i < live->count; i++) {
        notes += live->rows[i].caution != NULL ? 1 : 0;
        notes += live->rows[i].note[0] != '\0' ? 1 : 0;
    }
    return notes;
}

/* Cautions come first. */
static void write_notes(const struct live *live, const struct terminal *terminal, FILE *stream,
                        size_t lines)
{
    const size_t notes = count_notes(live);
    size_t left = notes <= lines ? notes : lines - 1;
    for (size_t i = 0; i < 2 * live->count && left > 0; i++) {
        const struct row *const row = &live->rows[i % live->count];
        if (i < live->count && row->caution != NULL) {
            terminal_print(terminal, stream, "%s: caution: %s\n", row->point, row->caution);
            left--;
        } else if (i >= live->count && row->note[0] != '\0') {
            terminal_print(terminal, stream, "%s: %s\n", row->point, row->note);
            left--;
        }
    }
    if (notes > lines)
        fprintf(stream, "%zu more notes do not fit\n", notes - (lines - 1));
}

void live_write(const struct live *live, const struct terminal *terminal, FILE *stream,
                size_t lines)
{
    const size_t wanted[] = { live->count, count_notes(live) };
    size_t given[] = { wanted[0], wanted[1] };
    if (live->note[0] != '\0') {
        terminal_style(terminal, stream, STYLE_DOUBT);
        terminal_print(terminal, stream, "%s", live->note);
        terminal_style(terminal, stream, STYLE_PLAIN);
        fputc('\n', stream);
        lines -= lines > 1;
    }
    if (lines > 0)
        fit_lines(lines, wanted, 2, given);
    write_rows(live, terminal, stream, given[0]);
    if (given[1] > 0)
        write_notes(live, terminal, stream, given[1]);
}

double live_due(const struct live *live)
{
    return live->news ? live->drawn_at + pause_ms : (double)INFINITY;
}

/* The picture as text; NULL without memory. Free with free(). */
static char *picture(const struct live *live, const struct terminal *terminal, bool head)
{
    char *text = NULL;
    size_t size = 0;
    FILE *const stream = open_memstream(&text, &size);
    if (stream == NULL)
        return NULL;
    if (head)
        fprintf(stream, "%zu points, times UTC, Ctrl-C ends\n", live->count);
    live_write(live, terminal, stream, (size_t)terminal->rows - 1);
    fclose(stream);
    return text;
}

void live_draw(struct live *live)
{
    const struct terminal terminal = terminal_look();
    char *const text = picture(live, &terminal, true);
    frame_draw(&terminal, text != NULL ? text : "");
    free(text);
    live->drawn_at = client_now();
    live->news = false;
}

void live_close(struct live *live)
{
    if (live == NULL)
        return;
    const struct terminal terminal = terminal_look();
    char *const text = picture(live, &terminal, false);
    frame_close(&terminal, text != NULL ? text : "");
    free(text);
    for (size_t i = 0; i < live->count; i++) {
        free(live->rows[i].point);
        free(live->rows[i].caution);
    }
    free(live->rows);
    free(live);
}
