/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The report on A4 pages, laid out from top to bottom: whatever is put on the
 * page says how high it is, and begins a new page when there is no room. Text
 * is set by Pango, which finds glyphs for any script and cuts what is too long
 * with an ellipsis.
 */
#include "report_form.h"
#include "report_plot.h"
#include "report_tables.h"

#include "field.h"

#include <cairo-pdf.h>
#include <math.h>
#include <pango/pangocairo.h>
#include <string.h>

/* A4 in points, and what is left free around it. */
static const double page_width = 595.28, page_height = 841.89, margin = 45, foot = 30;

static const double unit_width = 60, unit_height = 30, plot_height = 132, line_height = 20;

struct page {
    const struct report *report;
    cairo_t *cairo;
    double y;
    int number;
    const struct column *columns; /* whose headings stand at the top of each page; NULL: none */
    size_t column_count;
};

struct column {
    const char *heading;
    double width;
};

enum weight { PLAIN, BOLD };

static const double inks[INK_COUNT][3] = {
    [INK_TEXT] = { 0.11, 0.12, 0.14 },    [INK_FAINT] = { 0.42, 0.45, 0.48 },
    [INK_TRACE] = { 0.12, 0.37, 0.66 },   [INK_RANGE] = { 0.62, 0.75, 0.90 },
    [INK_LIMIT] = { 0.54, 0.35, 0.00 },   [INK_GUARD] = { 0.95, 0.87, 0.72 },
    [INK_GRID] = { 0.85, 0.87, 0.89 },    [INK_WELL] = { 0.11, 0.42, 0.23 },
    [INK_WARM_UP] = { 0.93, 0.94, 0.95 }, [INK_BAD] = { 0.70, 0.15, 0.12 },
};

static void dip(cairo_t *cairo, enum ink ink)
{
    cairo_set_source_rgb(cairo, inks[ink][0], inks[ink][1], inks[ink][2]);
}

static enum ink ink_of(enum report_class class)
{
    return class == REPORT_FAILED  ? INK_BAD
           : class == REPORT_WATCH ? INK_LIMIT
           : class == REPORT_WELL  ? INK_WELL
                                   : INK_FAINT;
}

/* Sets a text; `width` 0: as long as it is. `most` lines, 0: as many as it takes. */
static PangoLayout *set_text(cairo_t *cairo, double size, enum weight weight, double width,
                             int most, const char *text)
{
    PangoLayout *layout = pango_cairo_create_layout(cairo);
    PangoFontDescription *font = pango_font_description_from_string("DejaVu Sans");
    pango_font_description_set_absolute_size(font, size * PANGO_SCALE);
    pango_font_description_set_weight(font,
                                      weight == BOLD ? PANGO_WEIGHT_BOLD : PANGO_WEIGHT_NORMAL);
    pango_layout_set_font_description(layout, font);
    pango_font_description_free(font);
    if (width > 0) {
        pango_layout_set_width(layout, (int)(width * PANGO_SCALE));
        pango_layout_set_wrap(layout, PANGO_WRAP_WORD_CHAR);
    }
    if (most > 0) {
        pango_layout_set_height(layout, -most);
        pango_layout_set_ellipsize(layout, PANGO_ELLIPSIZE_END);
    }
    pango_layout_set_text(layout, text, -1);
    return layout;
}

static double height_of(PangoLayout *layout)
{
    int width, height;
    pango_layout_get_size(layout, &width, &height);
    return (double)height / PANGO_SCALE;
}

/* Writes a text with its upper left corner there; returns its height. */
static double put(cairo_t *cairo, enum ink ink, double size, enum weight weight, double x, double y,
                  double width, int most, const char *text)
{
    PangoLayout *layout = set_text(cairo, size, weight, width, most, text);
    double height = height_of(layout);
    dip(cairo, ink);
    cairo_move_to(cairo, x, y);
    pango_cairo_show_layout(cairo, layout);
    g_object_unref(layout);
    return height;
}

static double body_width(void)
{
    return page_width - 2 * margin;
}

static void put_foot(const struct page *page)
{
    char text[WORDS_SIZE];
    snprintf(text, sizeof text, "%.200s", page->report->run);
    put(page->cairo, INK_FAINT, 7.5, PLAIN, margin, page_height - foot, body_width() - 60, 1, text);
    snprintf(text, sizeof text, "page %d", page->number);
    put(page->cairo, INK_FAINT, 7.5, PLAIN, page_width - margin - 40, page_height - foot, 40, 1,
        text);
}

static void put_headings(struct page *page)
{
    double x = margin;
    for (size_t i = 0; i < page->column_count; i++) {
        put(page->cairo, INK_FAINT, 7.5, BOLD, x, page->y, page->columns[i].width - 4, 1,
            page->columns[i].heading);
        x += page->columns[i].width;
    }
    page->y += page->column_count > 0 ? 13 : 0;
}

static void begin_page(struct page *page)
{
    page->number++;
    page->y = margin;
    put_foot(page);
    put_headings(page);
}

/* Makes room for what is so high: on the next page when this one is too full. */
static void need(struct page *page, double height)
{
    if (page->y + height > page_height - margin - 10) {
        cairo_show_page(page->cairo);
        begin_page(page);
    }
}

static void paragraph(struct page *page, enum ink ink, double size, enum weight weight,
                      const char *text)
{
    PangoLayout *layout = set_text(page->cairo, size, weight, body_width(), 0, text);
    double height = height_of(layout);
    g_object_unref(layout);
    need(page, height);
    page->y += put(page->cairo, ink, size, weight, margin, page->y, body_width(), 0, text) + 3;
}

/* A heading is not left alone at the foot of a page: `with` is what must follow it there. */
static void heading(struct page *page, const char *text, double with)
{
    page->columns = NULL;
    page->column_count = 0;
    need(page, 34 + with);
    page->y += 12;
    paragraph(page, INK_TEXT, 12, BOLD, text);
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
    for (size_t i = 0; i < count; i++) {
        cairo_line_to(context, points[2 * i], points[2 * i + 1]);
    }
    cairo_stroke(context);
}

static void pen_text(void *context, enum ink ink, double size, enum anchor anchor, double x,
                     double y, const char *text)
{
    PangoLayout *layout = set_text(context, size, PLAIN, 0, 0, text);
    int width, height;
    pango_layout_get_size(layout, &width, &height);
    double back = (double)width / PANGO_SCALE *
                  (anchor == ANCHOR_START ? 0
                   : anchor == ANCHOR_END ? 1
                                          : 0.5);
    dip(context, ink);
    cairo_move_to(context, x - back, y - (double)pango_layout_get_baseline(layout) / PANGO_SCALE);
    pango_cairo_show_layout(context, layout);
    g_object_unref(layout);
}

static struct pen pen_on(cairo_t *cairo)
{
    return (struct pen) { cairo, pen_line, pen_area, pen_path, pen_text };
}

static void put_head(struct page *page)
{
    const struct report *report = page->report;
    char text[WORDS_SIZE], first[WORDS_SIZE], last[WORDS_SIZE], every[WORDS_SIZE];
    paragraph(page, INK_FAINT, 9, PLAIN, "Burn-in report");
    paragraph(page, INK_TEXT, 17, BOLD, report->run);
    paragraph(page, report_units(report, REPORT_FAILED) > 0 ? INK_BAD : INK_TEXT, 10.5, BOLD,
              report_outcome(report, text));
    snprintf(text, sizeof text, "Plan %.80s, a round every %.40s, from %.40s to %.40s UTC.",
             field_text_or_empty(report->began, "plan"), report_span(report->every, every),
             report_moment(report->first, first), report_moment(report->last, last));
    paragraph(page, INK_TEXT, 9, PLAIN, text);
    snprintf(text, sizeof text, "Report made %.40s UTC.", report_moment(report->made, first));
    paragraph(page, INK_FAINT, 9, PLAIN, text);
    if (report_disturbances(report, text)[0] != '\0') {
        paragraph(page, INK_LIMIT, 9, PLAIN, text);
    }
    paragraph(page, INK_FAINT, 8.5, PLAIN, report_caution);
}

static void put_unit(struct page *page, const struct report_unit *unit, double x)
{
    char text[WORDS_SIZE];
    cairo_t *cairo = page->cairo;
    pen_area(cairo, ink_of(unit->class), x, page->y, 3, unit_height - 5);
    put(cairo, INK_TEXT, 8.5, BOLD, x + 6, page->y, unit_width - 10, 1, unit->label);
    if (isfinite(unit->worst)) {
        snprintf(text, sizeof text, "%s %.0f %%", report_class_name(unit->class),
                 floor(100 * unit->worst));
    } else {
        snprintf(text, sizeof text, "%s", report_class_name(unit->class));
    }
    put(cairo, ink_of(unit->class), 6.5, PLAIN, x + 6, page->y + 11.5, unit_width - 8, 1, text);
}

static void put_units(struct page *page)
{
    const struct report *report = page->report;
    size_t across = (size_t)(body_width() / unit_width);
    heading(page, "Units", unit_height);
    for (size_t i = 0; i < report->unit_count; i++) {
        if (i % across == 0) {
            page->y += i > 0 ? unit_height : 0;
            need(page, unit_height);
        }
        put_unit(page, &report->units[i], margin + (double)(i % across) * unit_width);
    }
    page->y += unit_height;
    paragraph(page, INK_FAINT, 8, PLAIN,
              "The margin is the worst of a unit's points: 100 % in the middle between the limits, "
              "0 % at a limit, below 0 % beyond it.");
}

enum { FIGURES_ACROSS = 5 };

/* Figures side by side. */
static void put_figures(struct page *page, const struct report_point *point)
{
    struct report_figure figures[REPORT_FIGURES];
    size_t count = report_figures(point, figures);
    double width = body_width() / FIGURES_ACROSS;
    for (size_t i = 0; i < count; i++) {
        double x = margin + (double)(i % FIGURES_ACROSS) * width;
        put(page->cairo, INK_FAINT, 7, PLAIN, x, page->y, width - 6, 1, figures[i].name);
        put(page->cairo, INK_TEXT, 8.5, PLAIN, x, page->y + 9, width - 6, 1, figures[i].text);
        page->y += (i + 1) % FIGURES_ACROSS == 0 || i + 1 == count ? 23 : 0;
    }
}

static void put_full(struct page *page, const struct report_point *point)
{
    const struct pen pen = pen_on(page->cairo);
    char text[WORDS_SIZE];
    need(page, plot_height + 105);
    page->y += 8;
    paragraph(page, ink_of(point->class), 10.5, BOLD, point->name);
    paragraph(page, INK_TEXT, 9, PLAIN, report_course(point, text));
    put_figures(page, point);
    need(page, plot_height);
    report_plot(page->report, point, &pen,
                (struct plot_box) { margin, page->y, body_width(), plot_height });
    page->y += plot_height + 4;
}

static void put_class(struct page *page, enum report_class class, const char *title)
{
    const struct report *report = page->report;
    if (report_points(report, class) == 0) {
        return;
    }
    heading(page, title, plot_height + 105);
    for (size_t i = 0; i < report->point_count; i++) {
        if (report->points[i].class == class) {
            put_full(page, &report->points[i]);
        }
    }
}

/* A result without its uncertainty, which has a column of its own. */
static const char *short_of(const char *result, char text[WORDS_SIZE])
{
    const char *end = strstr(result, " ±");
    int length = end != NULL ? (int)(end - result) : (int)strlen(result);
    snprintf(text, WORDS_SIZE, "%.*s", length, result);
    return text;
}

static const struct column point_columns[] = {
    { "point", 112 },      { "limits", 100 }, { "minimum", 66 },   { "maximum", 66 },
    { "uncertainty", 62 }, { "margin", 38 },  { "own scale", 61 },
};
enum { COURSE_COLUMN = 6 };

static const char *named(const struct report_figure *figures, size_t count, const char *name)
{
    for (size_t i = 0; i < count; i++) {
        if (strcmp(figures[i].name, name) == 0) {
            return figures[i].text;
        }
    }
    return "";
}

/* One line of a table; the last column is left to the caller when it has no text. */
static void put_row(struct page *page, const char *const *cells, size_t count, enum ink ink,
                    int lines)
{
    double x = margin;
    for (size_t i = 0; i < count; i++) {
        put(page->cairo, ink, 7.5, PLAIN, x, page->y, page->columns[i].width - 5, lines, cells[i]);
        x += page->columns[i].width;
    }
}

static void put_line(struct page *page, const struct report_point *point)
{
    struct report_figure figures[REPORT_FIGURES];
    const struct pen pen = pen_on(page->cairo);
    char limits[WORDS_SIZE], least[WORDS_SIZE], largest[WORDS_SIZE];
    size_t count = report_figures(point, figures);
    const char *cells[] = { point->name,
                            report_limits(point, limits),
                            short_of(named(figures, count, "minimum"), least),
                            short_of(named(figures, count, "maximum"), largest),
                            named(figures, count, "uncertainty"),
                            named(figures, count, "worst margin"),
                            "" };
    need(page, line_height);
    put_row(page, cells, sizeof cells / sizeof *cells, INK_TEXT, 1);
    double width = point_columns[COURSE_COLUMN].width;
    report_plot_small(
        page->report, point, &pen,
        (struct plot_box) { page_width - margin - width, page->y - 2, width, line_height - 6 });
    page->y += line_height;
}

static void begin_table(struct page *page, const char *title, const struct column *columns,
                        size_t count)
{
    heading(page, title, 3 * line_height);
    page->columns = columns;
    page->column_count = count;
    put_headings(page);
}

static void put_lines(struct page *page)
{
    const struct report *report = page->report;
    if (report_points(report, REPORT_WELL) == 0) {
        return;
    }
    begin_table(page, "Points that are well", point_columns,
                sizeof point_columns / sizeof *point_columns);
    for (size_t i = 0; i < report->point_count; i++) {
        if (report->points[i].class == REPORT_WELL) {
            put_line(page, &report->points[i]);
        }
    }
}

/* A line of `count` cells, each of which may take several lines. */
static void put_cells(struct page *page, const char *const *cells, size_t count, enum ink ink)
{
    double height = 0;
    for (size_t i = 0; i < count; i++) {
        PangoLayout *layout =
            set_text(page->cairo, 7.5, PLAIN, page->columns[i].width - 5, 3, cells[i]);
        height = fmax(height, height_of(layout));
        g_object_unref(layout);
    }
    need(page, height + 3);
    put_row(page, cells, count, ink, 3);
    page->y += height + 3;
}

static void put_use(void *context, const struct report_use *use)
{
    char detail[WORDS_SIZE], due[WORDS_SIZE];
    const char *cells[] = { use->kind, use->name, report_use_detail(use, detail),
                            report_use_calibration(use, due) };
    put_cells(context, cells, sizeof cells / sizeof *cells, use->expired ? INK_BAD : INK_TEXT);
}

static void put_happening(void *context, const char *time, const char *kind, const char *detail)
{
    const char *cells[] = { time, kind, detail };
    put_cells(context, cells, sizeof cells / sizeof *cells, INK_TEXT);
}

static void put_all(struct page *page)
{
    static const struct column uses[] = {
        { "", 60 }, { "name", 150 }, { "what", 165 }, { "calibration due", 130 }
    };
    static const struct column events[] = { { "time (UTC)", 110 }, { "what", 90 }, { "", 305 } };
    begin_page(page);
    put_head(page);
    put_units(page);
    put_class(page, REPORT_FAILED, "Points that failed");
    put_class(page, REPORT_WATCH, "Points to look at");
    put_class(page, REPORT_UNKNOWN, "Points without a reading");
    put_lines(page);
    begin_table(page, "Measured with", uses, sizeof uses / sizeof *uses);
    report_uses(page->report, put_use, page);
    begin_table(page, "What happened", events, sizeof events / sizeof *events);
    report_happenings(page->report, put_happening, page);
}

static cairo_status_t write_bytes(void *context, const unsigned char *bytes, unsigned length)
{
    return fwrite(bytes, 1, length, context) == length ? CAIRO_STATUS_SUCCESS
                                                       : CAIRO_STATUS_WRITE_ERROR;
}

bool report_pdf(const struct report *report, FILE *out)
{
    cairo_surface_t *surface =
        cairo_pdf_surface_create_for_stream(write_bytes, out, page_width, page_height);
    struct page page = { .report = report, .cairo = cairo_create(surface) };
    cairo_pdf_surface_set_metadata(surface, CAIRO_PDF_METADATA_TITLE, report->run);
    put_all(&page);
    cairo_show_page(page.cairo);
    cairo_destroy(page.cairo);
    cairo_surface_finish(surface);
    bool made = cairo_surface_status(surface) == CAIRO_STATUS_SUCCESS;
    cairo_surface_destroy(surface);
    return made;
}
