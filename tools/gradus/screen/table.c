/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "table.h"

#include "tools/gradus/basics/memory.h"
#include "tools/gradus/basics/terminal_text.h"

#include <assert.h>
#include <stdarg.h>
#include <stdbool.h>
#include <stdlib.h>
#include <string.h>

enum { CELL_SIZE = 512, GAP = 2 };

struct cell {
    char *text; /* NULL: empty */
    enum style style;
};

struct table {
    const struct table_column *columns;
    size_t column_count;
    struct cell *cells; /* rows one after the other */
    size_t row_count;
    size_t next; /* column to be filled in the last row */
};

/* How the table comes out: what each cell reads and how wide each column is (0: left out). */
struct layout {
    char **texts; /* the headings, then the cells */
    size_t *widths;
};

struct table *table_new(const struct table_column *columns)
{
    struct table *const table = memory_zeroed(1, sizeof *table);
    table->columns = columns;
    while (columns[table->column_count].heading != NULL)
        table->column_count++;
    return table;
}

void table_free(struct table *table)
{
    if (table == NULL)
        return;
    for (size_t i = 0; i < table->row_count * table->column_count; i++)
        free(table->cells[i].text);
    free(table->cells);
    free(table);
}

void table_row(struct table *table)
{
    const size_t columns = table->column_count;
    table->cells =
        memory_resize(table->cells, (table->row_count + 1) * columns, sizeof *table->cells);
    for (size_t i = 0; i < columns; i++)
        table->cells[table->row_count * columns + i] = (struct cell) { NULL, STYLE_PLAIN };
    table->row_count++;
    table->next = 0;
}

void table_cell(struct table *table, enum style style, const char *format, ...)
{
    assert(table->row_count > 0 && table->next < table->column_count);
    char text[CELL_SIZE];
    va_list arguments;
    va_start(arguments, format);
    vsnprintf(text, sizeof text, format, arguments);
    va_end(arguments);
    const size_t index = (table->row_count - 1) * table->column_count + table->next++;
    table->cells[index] = (struct cell) { memory_text(text), style };
}

void table_skip(struct table *table)
{
    assert(table->row_count > 0 && table->next < table->column_count);
    table->next++;
}

static bool column_is_empty(const struct table *table, size_t column)
{
    for (size_t row = 0; row < table->row_count; row++) {
        const char *const text = table->cells[row * table->column_count + column].text;
        if (text != NULL && text[0] != '\0')
            return false;
    }
    return true;
}

static const char *raw_text(const struct table *table, size_t line, size_t column)
{
    if (line == 0)
        return table->columns[column].heading;
    const char *const text = table->cells[(line - 1) * table->column_count + column].text;
    return text == NULL ? "" : text;
}

static struct layout layout_make(const struct table *table, bool ascii)
{
    const size_t columns = table->column_count;
    const size_t lines = table->row_count + 1;
    struct layout layout = { memory_zeroed(lines * columns, sizeof(char *)),
                             memory_zeroed(columns, sizeof(size_t)) };
    for (size_t column = 0; column < columns; column++) {
        const bool empty = column_is_empty(table, column);
        for (size_t line = 0; line < lines; line++) {
            char *const text = text_printable(raw_text(table, line, column), ascii);
            const size_t width = text_width(text);
            layout.texts[line * columns + column] = text;
            if (!empty && width > layout.widths[column])
                layout.widths[column] = width;
        }
    }
    return layout;
}

/* Whether a column is shown and may be left out: one with a heading, and not the first. */
static bool may_go(const struct table *table, const struct layout *layout, size_t column)
{
    return column > 0 && layout->widths[column] > 0 && table->columns[column].heading[0] != '\0';
}

static size_t line_width(const struct table *table, const struct layout *layout)
{
    size_t width = 0;
    for (size_t column = 0; column < table->column_count; column++)
        if (layout->widths[column] > 0)
            width += layout->widths[column] + (width > 0 ? GAP : 0);
    return width;
}

/* Leaves columns out from the right until a line fits, and says which. */
static void layout_narrow(const struct table *table, struct layout *layout,
                          const struct terminal *terminal)
{
    char names[CELL_SIZE] = "";
    for (size_t column = table->column_count; column-- > 0;) {
        if (line_width(table, layout) <= (size_t)terminal->columns)
            break;
        if (may_go(table, layout, column)) {
            char before[CELL_SIZE];
            memcpy(before, names, sizeof before);
            snprintf(names, sizeof names, "%s%s%.400s", table->columns[column].heading,
                     before[0] == '\0' ? "" : ", ", before);
            layout->widths[column] = 0;
        }
    }
    if (names[0] != '\0')
        terminal_complain(terminal, "left out to fit %d columns: %s", terminal->columns, names);
}

static void layout_free(const struct table *table, struct layout *layout)
{
    for (size_t i = 0; i < (table->row_count + 1) * table->column_count; i++)
        free(layout->texts[i]);
    free(layout->texts);
    free(layout->widths);
}

static void put_blanks(FILE *stream, size_t count)
{
    for (size_t i = 0; i < count; i++)
        fputc(' ', stream);
}

static enum style cell_style(const struct table *table, size_t line, size_t column)
{
    if (line == 0)
        return STYLE_HEADING;
    return table->cells[(line - 1) * table->column_count + column].style;
}

/* Blanks are held back until text follows them, so that no line ends with any. */
static void print_line(const struct table *table, const struct layout *layout, size_t line,
                       const struct terminal *terminal, FILE *stream)
{
    size_t blanks = 0;
    for (size_t column = 0; column < table->column_count; column++) {
        if (layout->widths[column] == 0)
            continue;
        const char *const text = layout->texts[line * table->column_count + column];
        const size_t fill = layout->widths[column] - text_width(text);
        const bool right = table->columns[column].align == ALIGN_RIGHT;
        const enum style style = cell_style(table, line, column);
        if (text[0] == '\0') {
            blanks += layout->widths[column] + GAP;
            continue;
        }
        put_blanks(stream, blanks + (right ? fill : 0));
        if (style != STYLE_PLAIN)
            terminal_style(terminal, stream, style);
        fputs(text, stream);
        if (style != STYLE_PLAIN)
            terminal_style(terminal, stream, STYLE_PLAIN);
        blanks = GAP + (right ? 0 : fill);
    }
    fputc('\n', stream);
}

static bool has_headings(const struct table *table)
{
    for (size_t column = 0; column < table->column_count; column++)
        if (table->columns[column].heading[0] != '\0')
            return true;
    return false;
}

void table_print(const struct table *table, const struct terminal *terminal, FILE *stream)
{
    struct layout layout = layout_make(table, terminal->ascii);
    if (terminal->bounded)
        layout_narrow(table, &layout, terminal);
    for (size_t line = has_headings(table) ? 0 : 1; line <= table->row_count; line++)
        print_line(table, &layout, line, terminal, stream);
    layout_free(table, &layout);
}
