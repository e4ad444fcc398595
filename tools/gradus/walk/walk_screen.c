/* SPDX-License-Identifier: GPL-3.0-or-later */
/* How a walk looks: one screen, or lines for screen readers and files. */
#include "tools/gradus/answers/reading.h"
#include "tools/gradus/basics/field.h"
#include "tools/gradus/screen/big.h"
#include "tools/gradus/screen/table.h"
#include "walker.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* Lines of the list; the big value is left out where they do not fit. */
enum { LEAST_LIST = 3 };

void walker_short_place(const struct walker *walker, size_t index, char *text, size_t size)
{
    const char *const place = field_text_or_empty(walker->stops[index].place, "place");
    snprintf(text, size, "%.*s", (int)strcspn(place, ","), place);
}

char *walker_expected(const struct walker *walker, size_t index, char *text, size_t size)
{
    const json_t *const place = walker->stops[index].place;
    const char *const unit = field_text_or_empty(place, "unit");
    char limits[READING_TEXT], expected[READING_TEXT];
    reading_limits_text(field_at(place, "limits"), unit, limits);
    reading_setting(field_number(place, "expected"), unit, expected);
    snprintf(text, size, "%s%s%s", expected, expected[0] != '\0' && limits[0] != '\0' ? ", " : "",
             limits);
    return text;
}

const char *walk_advice(const char *probe)
{
    static const struct {
        const char *probe;
        const char *advice;
    } all[] = {
        { "lift", "Lift the probe. If it is in the air: Enter" },
        { "in the air", "Touch the place. At zero volts, once it is on: Enter" },
        { "in the air, hum", "Touch the place" },
        { "touching", "Hold still" },
        { "unsure", "On the place? Then: Enter. If not, lift the probe" },
        { "settled", "Hold still: reading" },
        { "still there", "Lift the probe" },
        { "slipped", "The probe moved. Lift it and touch the place again" },
        { "away", "The instrument does not answer; waiting for it" },
    };
    for (size_t i = 0; i < sizeof all / sizeof all[0]; i++)
        if (strcmp(all[i].probe, probe) == 0)
            return all[i].advice;
    return "";
}

const char *walker_advice(const struct walker *walker)
{
    return walk_advice(walker->probe);
}

static enum style style_of(const struct stop *stop)
{
    return stop->state != NULL && strcmp(stop->state, "read") == 0
               ? terminal_verdict_style(stop->verdict)
               : STYLE_DOUBT;
}

static void draw_place(const struct walker *walker, FILE *stream)
{
    const struct terminal *const terminal = &walker->terminal;
    const json_t *const place = walker->stops[walker->at].place;
    char text[WALKER_LINE], expected[WALKER_LINE];
    walker_short_place(walker, walker->at, text, sizeof text);
    if (!big_draw(terminal, stream, STYLE_HEADING, text)) {
        terminal_style(terminal, stream, STYLE_HEADING);
        terminal_print(terminal, stream, ">>> %s", text);
        terminal_style(terminal, stream, STYLE_PLAIN);
        fputc('\n', stream);
    }
    terminal_print(terminal, stream, "%s  (%s %s)\n", field_text_or_empty(place, "place"),
                   field_text_or_empty(place, "point"), field_text_or_empty(place, "quantity"));
    walker_expected(walker, walker->at, expected, sizeof expected);
    terminal_print(terminal, stream, "expected %s\n", expected[0] != '\0' ? expected : "nothing");
    if (field_text(place, "picture") != NULL)
        terminal_print(terminal, stream, "picture %s\n", field_text(place, "picture"));
    if (field_text(place, "caution") != NULL) {
        terminal_style(terminal, stream, STYLE_BAD);
        terminal_print(terminal, stream, "CAUTION: %s", field_text(place, "caution"));
        terminal_style(terminal, stream, STYLE_PLAIN);
        fputc('\n', stream);
    }
}

/* The last outcome: big where that fits, with its verdict in words. */
static void draw_last(const struct walker *walker, FILE *stream, bool big)
{
    const struct terminal *const terminal = &walker->terminal;
    if (walker->last == walker->count)
        return;
    const struct stop *const stop = &walker->stops[walker->last];
    char text[WALKER_LINE];
    walker_short_place(walker, walker->last, text, sizeof text);
    if (big && stop->value[0] != '\0')
        big_draw(terminal, stream, style_of(stop), stop->value);
    terminal_style(terminal, stream, style_of(stop));
    terminal_print(terminal, stream, "%s: %s%s%s", text, stop->value,
                   stop->value[0] != '\0' ? "  " : "", stop->verdict);
    terminal_style(terminal, stream, STYLE_PLAIN);
    fputc('\n', stream);
}

/* As much of the list as there is room for, with the present place in it. */
static void draw_list(const struct walker *walker, FILE *stream, size_t room)
{
    const struct terminal *const terminal = &walker->terminal;
    size_t first = 0;
    if (walker->count > room && walker->at > room / 2)
        first = walker->at - room / 2;
    if (first + room > walker->count)
        first = walker->count > room ? walker->count - room : 0;
    for (size_t i = first; i < walker->count && i < first + room; i++) {
        const struct stop *const stop = &walker->stops[i];
        const bool done = strcmp(stop->state, "open") != 0;
        terminal_style(terminal, stream, done ? style_of(stop) : STYLE_PLAIN);
        terminal_print(terminal, stream, "%s %2zu %-16.16s %14s  %s", i == walker->at ? ">" : " ",
                       i + 1, field_text_or_empty(stop->place, "point"), stop->value,
                       done ? stop->verdict : "");
        terminal_style(terminal, stream, STYLE_PLAIN);
        fputc('\n', stream);
    }
}

static void draw_foot(const struct walker *walker, FILE *stream)
{
    const struct terminal *const terminal = &walker->terminal;
    terminal_style(terminal, stream, STYLE_HEADING);
    terminal_print(terminal, stream, "%s", walker_advice(walker));
    terminal_style(terminal, stream, STYLE_PLAIN);
    fputc('\n', stream);
    if (walker->keyboard.typing) {
        terminal_print(terminal, stream, "note: %s_\n", walker->keyboard.note);
        return;
    }
    terminal_style(terminal, stream, walker->bad_news ? STYLE_BAD : STYLE_PLAIN);
    terminal_print(terminal, stream, "%s", walker->news);
    terminal_style(terminal, stream, STYLE_PLAIN);
    fputc('\n', stream);
}

/* Everything above the list. */
static void draw_top(const struct walker *walker, FILE *stream, bool big)
{
    terminal_print(&walker->terminal, stream, "%s, place %zu of %zu\n\n",
                   field_text_or_empty(walker->answer, "title"), walker->at + 1, walker->count);
    if (walker->at < walker->count)
        draw_place(walker, stream);
    fputc('\n', stream);
    draw_foot(walker, stream);
    draw_last(walker, stream, big);
    fputc('\n', stream);
}

static size_t lines_of(const char *text)
{
    size_t lines = 0;
    for (; *text != '\0'; text++)
        lines += *text == '\n';
    return lines;
}

void walker_draw(struct walker *walker, FILE *stream)
{
    const size_t rows = walker->terminal.rows > 1 ? (size_t)walker->terminal.rows - 1 : 1;
    for (int big = 1; big >= 0; big--) {
        char *top = NULL;
        size_t size = 0;
        FILE *const out = open_memstream(&top, &size);
        if (out == NULL)
            return;
        draw_top(walker, out, big != 0);
        fclose(out);
        const size_t taken = lines_of(top) + 1; /* and the keys */
        const bool fits = taken + LEAST_LIST <= rows;
        if (fits || big == 0) {
            fputs(top, stream);
            draw_list(walker, stream, fits ? rows - taken : 1);
        }
        free(top);
        if (fits)
            break;
    }
    fputs("Enter on it, b back, a again, s skip, n note, q leave\n", stream);
}

void walker_print_next(const struct walker *walker, FILE *stream)
{
    const struct terminal *const terminal = &walker->terminal;
    const json_t *const place = walker->stops[walker->at].place;
    char expected[WALKER_LINE];
    walker_expected(walker, walker->at, expected, sizeof expected);
    terminal_print(terminal, stream, "Next, %zu of %zu: %s. Point %s, %s%s%s.\n", walker->at + 1,
                   walker->count, field_text_or_empty(place, "place"),
                   field_text_or_empty(place, "point"), field_text_or_empty(place, "quantity"),
                   expected[0] != '\0' ? ", expected " : "", expected);
    if (field_text(place, "picture") != NULL)
        terminal_print(terminal, stream, "Picture: %s\n", field_text(place, "picture"));
    if (field_text(place, "caution") != NULL)
        terminal_print(terminal, stream, "Caution: %s\n", field_text(place, "caution"));
}

void walker_print_summary(const struct walker *walker, FILE *stream)
{
    static const struct table_column columns[] = {
        { "point", ALIGN_LEFT },    { "value", ALIGN_RIGHT }, { "verdict", ALIGN_LEFT },
        { "expected", ALIGN_LEFT }, { "place", ALIGN_LEFT },  { NULL, ALIGN_LEFT },
    };
    struct table *const table = table_new(columns);
    char expected[WALKER_LINE];
    for (size_t i = 0; i < walker->count; i++) {
        const struct stop *const stop = &walker->stops[i];
        const bool open = strcmp(stop->state, "open") == 0;
        table_row(table);
        table_cell(table, STYLE_PLAIN, "%s", field_text_or_empty(stop->place, "point"));
        table_cell(table, STYLE_PLAIN, "%s", stop->value);
        table_cell(table, open ? STYLE_PLAIN : style_of(stop), "%s",
                   open ? "not yet" : stop->verdict);
        table_cell(table, STYLE_PLAIN, "%s", walker_expected(walker, i, expected, sizeof expected));
        table_cell(table, STYLE_PLAIN, "%s", field_text_or_empty(stop->place, "place"));
    }
    table_print(table, &walker->terminal, stream);
    table_free(table);
}
