/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "canvas.h"

#include "tools/gradus/basics/memory.h"

#include <assert.h>
#include <stdlib.h>

enum { GRID_ROW = 1, GRID_COLUMN = 2 };

struct cell {
    unsigned char dots; /* the bits of a braille pattern; in ASCII any bit means filled */
    unsigned char grid;
};

struct canvas {
    int width;
    int height;
    int across; /* dots in a character */
    int down;
    struct cell *cells;
};

struct canvas *canvas_new(int width, int height, bool ascii)
{
    assert(width > 0 && height > 0);
    struct canvas *const canvas = memory_zeroed(1, sizeof *canvas);
    canvas->width = width;
    canvas->height = height;
    canvas->across = ascii ? 1 : 2;
    canvas->down = ascii ? 1 : 4;
    canvas->cells = memory_zeroed((size_t)width * (size_t)height, sizeof *canvas->cells);
    return canvas;
}

void canvas_free(struct canvas *canvas)
{
    if (canvas != NULL) {
        free(canvas->cells);
        free(canvas);
    }
}

int canvas_dot_columns(const struct canvas *canvas)
{
    return canvas->width * canvas->across;
}

int canvas_dot_rows(const struct canvas *canvas)
{
    return canvas->height * canvas->down;
}

int canvas_row_of(const struct canvas *canvas, int dot_row)
{
    return canvas->height - 1 - dot_row / canvas->down;
}

int canvas_column_of(const struct canvas *canvas, int dot_column)
{
    return dot_column / canvas->across;
}

static struct cell *cell_at(const struct canvas *canvas, int row, int column)
{
    assert(row >= 0 && row < canvas->height && column >= 0 && column < canvas->width);
    return &canvas->cells[row * canvas->width + column];
}

/* Dot numbering of The Unicode Standard, braille patterns: left 1 2 3 7, right 4 5 6 8. */
static unsigned char dot_bit(int across, int from_bottom)
{
    static const unsigned char bits[2][4] = { { 0x40, 0x04, 0x02, 0x01 },
                                              { 0x80, 0x20, 0x10, 0x08 } };
    return bits[across][from_bottom];
}

void canvas_column(struct canvas *canvas, int dot_column, struct span span)
{
    assert(dot_column >= 0 && dot_column < canvas_dot_columns(canvas));
    const int top = canvas_dot_rows(canvas) - 1;
    const int low = span.low < 0 ? 0 : span.low;
    const int high = span.high > top ? top : span.high;
    for (int dot = low; dot <= high; dot++) {
        struct cell *const cell =
            cell_at(canvas, canvas_row_of(canvas, dot), canvas_column_of(canvas, dot_column));
        cell->dots |= dot_bit(dot_column % canvas->across, dot % canvas->down);
    }
}

void canvas_grid_row(struct canvas *canvas, int row)
{
    for (int column = 0; column < canvas->width; column++)
        cell_at(canvas, row, column)->grid |= GRID_ROW;
}

void canvas_grid_column(struct canvas *canvas, int column)
{
    for (int row = 0; row < canvas->height; row++)
        cell_at(canvas, row, column)->grid |= GRID_COLUMN;
}

/* U+2800 to U+28FF in UTF-8. */
static void write_braille(unsigned char dots, FILE *stream)
{
    fputc(0xE2, stream);
    fputc(0xA0 | dots >> 6, stream);
    fputc(0x80 | (dots & 0x3F), stream);
}

void canvas_write_row(const struct canvas *canvas, int row, FILE *stream)
{
    static const char *const plain[] = { " ", ".", ":", "+" };
    static const char *const drawn[] = { " ", "┈", "┊", "┼" };
    const bool ascii = canvas->across == 1;
    for (int column = 0; column < canvas->width; column++) {
        const struct cell *const cell = cell_at(canvas, row, column);
        if (cell->dots == 0)
            fputs(ascii ? plain[cell->grid] : drawn[cell->grid], stream);
        else if (ascii)
            fputc('#', stream);
        else
            write_braille(cell->dots, stream);
    }
}
