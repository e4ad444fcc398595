/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "paper.h"

#include "tools/gradus/basics/terminal_text.h"

#include <cairo-pdf.h>
#include <math.h>
#include <pango/pangocairo.h>
#include <stdlib.h>

/* A4, and where its foot is written. */
static const double page_width = 595.28, page_height = 841.89, foot = 30;

const double paper_margin = 45, paper_width = 595.28 - 2 * 45, paper_small = 7, paper_plain = 9;

/* What is left free behind a column, and below a row. */
static const double column_gap = 6, row_gap = 4;

static const double label_size = 7;

/* The last rows of a table, of which none is alone on a page. */
enum { KEPT_ROWS = 4 };

static const double inks[INK_COUNT][3] = {
    [INK_TEXT] = { 0.11, 0.12, 0.14 },  [INK_FAINT] = { 0.37, 0.40, 0.44 },
    [INK_GRID] = { 0.88, 0.89, 0.91 },  [INK_GAP] = { 0.97, 0.88, 0.88 },
    [INK_TRACE] = { 0.12, 0.37, 0.66 }, [INK_RANGE] = { 0.66, 0.78, 0.92 },
    [INK_LIMIT] = { 0.54, 0.35, 0.00 }, [INK_GUARD] = { 0.95, 0.87, 0.72 },
    [INK_WELL] = { 0.11, 0.42, 0.23 },  [INK_WARM_UP] = { 0.93, 0.94, 0.95 },
    [INK_BAD] = { 0.67, 0.17, 0.20 },   [INK_DRIFT] = { 0.42, 0.29, 0.64 },
};

static void dip(cairo_t *cairo, enum ink ink)
{
    cairo_set_source_rgb(cairo, inks[ink][0], inks[ink][1], inks[ink][2]);
}

/* Sets a text; `width` 0: as long as it is. */
static PangoLayout *set_text(cairo_t *cairo, double size, enum paper_weight weight, double width,
                             const char *text)
{
    PangoLayout *layout = pango_cairo_create_layout(cairo);
    PangoFontDescription *font = pango_font_description_from_string("DejaVu Sans");
    pango_font_description_set_absolute_size(font, size * PANGO_SCALE);
    pango_font_description_set_weight(font, weight == PAPER_BOLD ? PANGO_WEIGHT_BOLD
                                                                 : PANGO_WEIGHT_NORMAL);
    pango_layout_set_font_description(layout, font);
    pango_font_description_free(font);
    if (width > 0) {
        /* A hyphen would be read as a part of a name. */
        PangoAttrList *attributes = pango_attr_list_new();
        pango_attr_list_insert(attributes, pango_attr_insert_hyphens_new(FALSE));
        pango_layout_set_attributes(layout, attributes);
        pango_attr_list_unref(attributes);
        pango_layout_set_width(layout, (int)(width * PANGO_SCALE));
        pango_layout_set_wrap(layout, PANGO_WRAP_WORD_CHAR);
    }
    char *tame = text_tame(text);
    pango_layout_set_text(layout, tame, -1);
    free(tame);
    return layout;
}

static void size_of(PangoLayout *layout, double *width, double *height)
{
    int wide, high;
    pango_layout_get_size(layout, &wide, &high);
    *width = (double)wide / PANGO_SCALE;
    *height = (double)high / PANGO_SCALE;
}

double paper_length(const struct paper *paper, double size, enum paper_weight weight,
                    const char *text)
{
    double width, height;
    PangoLayout *layout = set_text(paper->cairo, size, weight, 0, text);
    size_of(layout, &width, &height);
    g_object_unref(layout);
    return width;
}

double paper_height(const struct paper *paper, double size, enum paper_weight weight, double width,
                    const char *text)
{
    double wide, high;
    PangoLayout *layout = set_text(paper->cairo, size, weight, width, text);
    size_of(layout, &wide, &high);
    g_object_unref(layout);
    return high;
}

double paper_put(const struct paper *paper, enum ink ink, double size, enum paper_weight weight,
                 double x, double y, double width, const char *text)
{
    double wide, high;
    PangoLayout *layout = set_text(paper->cairo, size, weight, width, text);
    size_of(layout, &wide, &high);
    dip(paper->cairo, ink);
    cairo_move_to(paper->cairo, x, y);
    pango_cairo_show_layout(paper->cairo, layout);
    g_object_unref(layout);
    return high;
}

double paper_picture(const struct paper *paper, const char *path, double right, double y,
                     double width, double height)
{
    double high = 0;
    cairo_surface_t *picture = cairo_image_surface_create_from_png(path);
    double wide = cairo_image_surface_get_width(picture);
    if (cairo_surface_status(picture) == CAIRO_STATUS_SUCCESS && wide > 0) {
        double scale = fmin(width / wide, height / cairo_image_surface_get_height(picture));
        high = scale * cairo_image_surface_get_height(picture);
        cairo_save(paper->cairo);
        cairo_translate(paper->cairo, right - scale * wide, y);
        cairo_scale(paper->cairo, scale, scale);
        cairo_set_source_surface(paper->cairo, picture, 0, 0);
        cairo_paint(paper->cairo);
        cairo_restore(paper->cairo);
    }
    cairo_surface_destroy(picture);
    return high;
}

static void put_foot(const struct paper *paper)
{
    char text[64];
    double y = page_height - foot;
    paper_put(paper, INK_FAINT, paper_small, PAPER_PLAIN, paper_margin, y, paper_width - 80,
              paper->title);
    snprintf(text, sizeof text, "page %d of %d", paper->number, paper->total);
    double length = paper_length(paper, paper_small, PAPER_PLAIN, text);
    paper_put(paper, INK_FAINT, paper_small, PAPER_PLAIN, page_width - paper_margin - length, y, 0,
              text);
}

static void put_headings(struct paper *paper)
{
    double x = paper_margin, height = 0;
    for (size_t i = 0; i < paper->column_count; i++) {
        const struct paper_column *column = &paper->columns[i];
        height = fmax(height, paper_put(paper, INK_FAINT, paper_small, PAPER_BOLD, x, paper->y,
                                        column->width - column_gap, column->heading));
        x += column->width;
    }
    paper->y += height + (paper->column_count > 0 ? row_gap : 0);
}

static void begin_page(struct paper *paper)
{
    paper->number++;
    paper->y = paper_margin;
    put_foot(paper);
    put_headings(paper);
}

void paper_need(struct paper *paper, double height)
{
    if (paper->y + height > page_height - paper_margin - 10) {
        cairo_show_page(paper->cairo);
        begin_page(paper);
    }
}

void paper_paragraph(struct paper *paper, enum ink ink, double size, enum paper_weight weight,
                     const char *text)
{
    paper_need(paper, paper_height(paper, size, weight, paper_width, text));
    paper->y += paper_put(paper, ink, size, weight, paper_margin, paper->y, paper_width, text) + 3;
}

void paper_heading(struct paper *paper, const char *text, double with)
{
    char place[64];
    paper->columns = NULL;
    paper->column_count = 0;
    paper_need(paper, 34 + with);
    paper->y += 12;
    snprintf(place, sizeof place, "page=%d pos=[%.0f %.0f]", paper->number, paper_margin, paper->y);
    cairo_pdf_surface_add_outline(cairo_get_target(paper->cairo), CAIRO_PDF_OUTLINE_ROOT, text,
                                  place, CAIRO_PDF_OUTLINE_FLAG_OPEN);
    paper_paragraph(paper, INK_TEXT, 12, PAPER_BOLD, text);
}

void paper_table(struct paper *paper, const char *title, const struct paper_column *columns,
                 size_t count, size_t rows)
{
    paper_heading(paper, title, 60);
    paper->rows = rows;
    paper->columns = columns;
    paper->column_count = count;
    put_headings(paper);
}

double paper_row(struct paper *paper, enum ink ink, const char *const *cells, double least)
{
    double height = least, x = paper_margin;
    for (size_t i = 0; i < paper->column_count; i++) {
        height = fmax(height, paper_height(paper, paper_small, PAPER_PLAIN,
                                           paper->columns[i].width - column_gap, cells[i]));
    }
    /* Rows are about as high as each other. */
    size_t together = paper->rows == KEPT_ROWS ? KEPT_ROWS : 1;
    paper_need(paper, (double)together * (height + row_gap));
    paper->rows -= paper->rows > 0;
    for (size_t i = 0; i < paper->column_count; i++) {
        paper_put(paper, ink, paper_small, PAPER_PLAIN, x, paper->y,
                  paper->columns[i].width - column_gap, cells[i]);
        x += paper->columns[i].width;
    }
    paper->y += height + row_gap;
    return paper->y - height - row_gap;
}

void paper_link(const struct paper *paper, const char *place)
{
    char attributes[96];
    snprintf(attributes, sizeof attributes, "dest='%s'", place);
    cairo_tag_begin(paper->cairo, CAIRO_TAG_LINK, attributes);
}

void paper_link_end(const struct paper *paper)
{
    cairo_tag_end(paper->cairo, CAIRO_TAG_LINK);
}

void paper_place(const struct paper *paper, const char *place)
{
    char attributes[96];
    snprintf(attributes, sizeof attributes, "name='%s' x=%.0f y=%.0f", place, paper_margin,
             paper->y);
    cairo_tag_begin(paper->cairo, CAIRO_TAG_DEST, attributes);
    cairo_tag_end(paper->cairo, CAIRO_TAG_DEST);
}

static void pen_line(void *context, enum ink ink, double width, double x1, double y1, double x2,
                     double y2)
{
    dip(context, ink);
    cairo_set_line_width(context, width);
    cairo_move_to(context, x1, y1);
    cairo_line_to(context, x2, y2);
    cairo_stroke(context);
}

static void pen_area(void *context, enum ink ink, double x, double y, double width, double height)
{
    dip(context, ink);
    cairo_rectangle(context, x, y, width, height);
    cairo_fill(context);
}

static void pen_path(void *context, enum ink ink, double width, const double *points, size_t count)
{
    dip(context, ink);
    cairo_new_path(context); /* a text leaves its place behind */
    cairo_set_line_width(context, width);
    cairo_set_line_join(context, CAIRO_LINE_JOIN_ROUND);
    for (size_t i = 0; i < count; i++)
        cairo_line_to(context, points[2 * i], points[2 * i + 1]);
    cairo_stroke(context);
}

static void pen_bars(void *context, enum ink ink, double width, const struct bar *bars,
                     size_t count)
{
    dip(context, ink);
    cairo_set_line_width(context, width);
    for (size_t i = 0; i < count; i++) {
        cairo_move_to(context, bars[i].x, bars[i].top);
        cairo_line_to(context, bars[i].x, bars[i].bottom);
    }
    cairo_stroke(context);
}

static void pen_text(void *context, enum ink ink, double size, enum anchor anchor, double x,
                     double y, const char *text)
{
    double width, height;
    PangoLayout *layout = set_text(context, size, PAPER_PLAIN, 0, text);
    size_of(layout, &width, &height);
    double back = anchor == ANCHOR_START ? 0 : anchor == ANCHOR_END ? width : width / 2;
    dip(context, ink);
    cairo_move_to(context, x - back, y - (double)pango_layout_get_baseline(layout) / PANGO_SCALE);
    pango_cairo_show_layout(context, layout);
    g_object_unref(layout);
}

struct pen paper_pen(const struct paper *paper)
{
    return (
        struct pen) { paper->cairo, label_size, pen_line, pen_area, pen_path, pen_bars, pen_text };
}

static cairo_status_t write_bytes(void *context, const unsigned char *bytes, unsigned length)
{
    return fwrite(bytes, 1, length, context) == length ? CAIRO_STATUS_SUCCESS
                                                       : CAIRO_STATUS_WRITE_ERROR;
}

/* One turn; returns how many pages there are. */
static int write_on(cairo_surface_t *surface, const char *title, int total,
                    void (*lay_out)(struct paper *paper, const void *context), const void *context)
{
    struct paper paper = { .cairo = cairo_create(surface), .title = title, .total = total };
    begin_page(&paper);
    lay_out(&paper, context);
    cairo_show_page(paper.cairo);
    cairo_destroy(paper.cairo);
    cairo_surface_finish(surface);
    return paper.number;
}

bool paper_write(FILE *out, const char *title,
                 void (*lay_out)(struct paper *paper, const void *context), const void *context)
{
    cairo_surface_t *trial =
        cairo_pdf_surface_create_for_stream(NULL, NULL, page_width, page_height);
    int total = write_on(trial, title, 0, lay_out, context);
    cairo_surface_destroy(trial);
    cairo_surface_t *surface =
        cairo_pdf_surface_create_for_stream(write_bytes, out, page_width, page_height);
    cairo_pdf_surface_set_metadata(surface, CAIRO_PDF_METADATA_TITLE, title);
    write_on(surface, title, total, lay_out, context);
    bool made = cairo_surface_status(surface) == CAIRO_STATUS_SUCCESS;
    cairo_surface_destroy(surface);
    return made;
}
