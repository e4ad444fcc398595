/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The report on paper: what stands where. */
#include "paper.h"
#include "report_form.h"
#include "report_plot.h"
#include "report_tables.h"

#include "tools/gradus/basics/field.h"

#include <math.h>
#include <string.h>

static const double unit_width = 60, plot_height = 150, line_height = 18;

/* The least number of units side by side. */
enum { UNITS_LEAST = 3 };

/* What is being laid out, and what on. */
struct page {
    const struct report *report;
    struct paper *paper;
};

static enum ink ink_of(enum report_class class)
{
    return class == REPORT_FAILED  ? INK_BAD
           : class == REPORT_WATCH ? INK_LIMIT
           : class == REPORT_WELL  ? INK_WELL
                                   : INK_FAINT;
}

static void put_warning(void *context, const char *sentence)
{
    const struct page *page = context;
    paper_paragraph(page->paper, INK_LIMIT, paper_plain, PAPER_PLAIN, sentence);
}

static void put_head(struct page *page)
{
    const struct report *report = page->report;
    char text[WORDS_SIZE], first[WORDS_SIZE], last[WORDS_SIZE], every[WORDS_SIZE];
    char phases[WORDS_SIZE];
    paper_paragraph(page->paper, INK_FAINT, 9, PAPER_PLAIN, "Burn-in report");
    paper_paragraph(page->paper, INK_TEXT, 17, PAPER_BOLD, report->run);
    paper_paragraph(page->paper, report_units(report, REPORT_FAILED) > 0 ? INK_BAD : INK_TEXT, 10.5,
                    PAPER_BOLD, report_outcome(report, text));
    report_warnings(report, put_warning, page);
    snprintf(text, sizeof text, "Plan %.80s, a round every %.40s, from %.40s to %.40s UTC.",
             field_text_or_empty(report->began, "plan"), report_span(report->every, every),
             report_moment(report->first, first), report_moment(report->last, last));
    paper_paragraph(page->paper, INK_TEXT, paper_plain, PAPER_PLAIN, text);
    snprintf(text, sizeof text, "Phases: %.900s UTC.", report_phases(report, phases));
    paper_paragraph(page->paper, INK_TEXT, paper_plain, PAPER_PLAIN, text);
    snprintf(text, sizeof text, "Report made %.40s UTC.", report_moment(report->made, first));
    paper_paragraph(page->paper, INK_FAINT, paper_plain, PAPER_PLAIN, text);
    paper_paragraph(page->paper, INK_TEXT, paper_plain, PAPER_BOLD, report_caution);
}

/* The width of a unit's place: that of the widest label, so that names fit as well as numbers. */
static double place_width(const struct page *page)
{
    double width = unit_width;
    for (size_t i = 0; i < page->report->unit_count; i++) {
        width = fmax(width, 14 + paper_length(page->paper, paper_plain, PAPER_BOLD,
                                              page->report->units[i].label));
    }
    return fmin(width, paper_width / UNITS_LEAST);
}

static void put_unit(const struct page *page, const struct report_unit *unit, double x,
                     double width, double label_height)
{
    char text[WORDS_SIZE];
    const struct pen pen = paper_pen(page->paper);
    snprintf(text, sizeof text, "%s", report_class_name(unit->class));
    if (isfinite(unit->worst)) {
        snprintf(text, sizeof text, "%s %.0f %%", report_class_name(unit->class),
                 floor(100 * unit->worst));
    }
    pen.area(pen.context, ink_of(unit->class), x, page->paper->y,
             unit->class == REPORT_WELL ? 1 : 3, label_height + paper_small + 3);
    paper_put(page->paper, INK_TEXT, paper_plain, PAPER_BOLD, x + 6, page->paper->y, width - 12,
              unit->label);
    paper_put(page->paper, ink_of(unit->class), 6.5, PAPER_PLAIN, x + 6,
              page->paper->y + label_height, 0, text);
}

/* Units side by side, as high as the label with the most lines. */
static void put_unit_row(struct page *page, size_t first, size_t count, double width)
{
    const struct report_unit *units = page->report->units;
    double height = 0;
    for (size_t i = first; i < first + count; i++) {
        height = fmax(
            height, paper_height(page->paper, paper_plain, PAPER_BOLD, width - 12, units[i].label));
    }
    paper_need(page->paper, height + paper_small + 8);
    for (size_t i = first; i < first + count; i++)
        put_unit(page, &units[i], paper_margin + (double)(i - first) * width, width, height);
    page->paper->y += height + paper_small + 8;
}

static void put_units(struct page *page)
{
    size_t count = page->report->unit_count;
    paper_heading(page->paper, "Units and their margins", 60);
    double width = place_width(page);
    size_t across = (size_t)(paper_width / width);
    for (size_t i = 0; i < count; i += across)
        put_unit_row(page, i, count - i < across ? count - i : across, width);
    page->paper->y += 2;
    paper_paragraph(page->paper, INK_FAINT, paper_small + 1, PAPER_PLAIN, report_margin_note);
    paper_paragraph(page->paper, INK_FAINT, paper_small + 1, PAPER_PLAIN, report_uncertainty_note);
}

/* Figures side by side. */
static void put_figures(struct page *page, const struct report_point *point)
{
    enum { ACROSS = 3 };
    struct report_figure figures[REPORT_FIGURES];
    size_t count = report_figures(point, figures);
    double width = paper_width / ACROSS, height = 0;
    paper_need(page->paper, 75);
    for (size_t i = 0; i < count; i++) {
        double x = paper_margin + (double)(i % ACROSS) * width;
        paper_put(page->paper, INK_FAINT, paper_small, PAPER_PLAIN, x, page->paper->y, width - 6,
                  figures[i].name);
        height = fmax(height, paper_put(page->paper, INK_TEXT, paper_plain, PAPER_PLAIN, x,
                                        page->paper->y + 9, width - 6, figures[i].text));
        if (i % ACROSS == ACROSS - 1 || i + 1 == count) {
            page->paper->y += height + 12;
            height = 0;
        }
    }
}

static void put_plot(struct page *page, const struct report_point *point)
{
    const struct pen pen = paper_pen(page->paper);
    if (report_plot_has(point)) {
        paper_need(page->paper, plot_height);
        report_plot(page->report, point, &pen,
                    (struct plot_box) { paper_margin, page->paper->y, paper_width, plot_height });
        page->paper->y += plot_height + 4;
    }
}

static void put_full(struct page *page, const struct report_point *point)
{
    char text[WORDS_SIZE], subject[WORDS_SIZE], limits[WORDS_SIZE];
    paper_need(page->paper, (report_plot_has(point) ? plot_height : 0) + 130);
    page->paper->y += 8;
    paper_paragraph(page->paper, ink_of(point->class), 10.5, PAPER_BOLD, point->name);
    report_subject(point, subject);
    snprintf(text, sizeof text, "%.200s, %.800s", subject, report_limits(point, limits));
    paper_paragraph(page->paper, INK_FAINT, paper_plain, PAPER_PLAIN, text);
    paper_paragraph(page->paper, INK_TEXT, paper_plain, PAPER_PLAIN, report_course(point, text));
    put_figures(page, point);
    put_plot(page, point);
}

static void put_key(struct page *page)
{
    const struct pen pen = paper_pen(page->paper);
    if (report_points(page->report, REPORT_WELL) < page->report->point_count) {
        paper_need(page->paper, 30);
        page->paper->y += report_plot_key(
            &pen, (struct plot_box) { paper_margin, page->paper->y, paper_width, 0 });
    }
}

static void put_class(struct page *page, enum report_class class, const char *title)
{
    const struct report *report = page->report;
    if (report_points(report, class) == 0)
        return;
    paper_heading(page->paper, title, plot_height + 130);
    for (size_t i = 0; i < report->point_count; i++)
        if (report->points[i].class == class)
            put_full(page, &report->points[i]);
}

static const struct paper_column point_columns[] = {
    { "point and limits", 121 }, { "margin", 36 },      { "minimum", 62 },      { "mean", 62 },
    { "maximum", 62 },           { "uncertainty", 58 }, { "last − first", 44 }, { "own scale", 60 },
};

enum { COURSE = sizeof point_columns / sizeof *point_columns - 1 };

/* A point that is well: its figures, and its course as high as a line. */
static void put_line(struct page *page, const struct report_point *point)
{
    struct report_figure figures[REPORT_FIGURES];
    const struct pen pen = paper_pen(page->paper);
    char name[2 * WORDS_SIZE], limits[WORDS_SIZE];
    char least[WORDS_SIZE], mean[WORDS_SIZE], largest[WORDS_SIZE];
    size_t count = report_figures(point, figures);
    snprintf(name, sizeof name, "%s\n%s", point->name, report_limits(point, limits));
    const char *cells[] = { name,
                            report_figure(figures, count, "worst margin"),
                            report_short(report_figure(figures, count, "minimum"), least),
                            report_short(report_figure(figures, count, "mean"), mean),
                            report_short(report_figure(figures, count, "maximum"), largest),
                            report_figure(figures, count, "uncertainty"),
                            report_figure(figures, count, "last − first"),
                            "" };
    double y = paper_row(page->paper, INK_TEXT, cells, line_height);
    double width = point_columns[COURSE].width;
    report_plot_small(
        page->report, point, &pen,
        (struct plot_box) { paper_margin + paper_width - width, y, width, line_height });
}

static void put_lines(struct page *page)
{
    const struct report *report = page->report;
    if (report_points(report, REPORT_WELL) == 0)
        return;
    paper_table(page->paper, "Points within limits", point_columns,
                sizeof point_columns / sizeof *point_columns);
    for (size_t i = 0; i < report->point_count; i++)
        if (report->points[i].class == REPORT_WELL)
            put_line(page, &report->points[i]);
}

static void put_use(void *context, const struct report_use *use)
{
    const struct page *page = context;
    char detail[WORDS_SIZE], due[WORDS_SIZE];
    const char *cells[] = { use->kind, use->name, report_use_detail(use, detail),
                            report_use_calibration(use, due) };
    paper_row(page->paper, use->expired ? INK_BAD : INK_TEXT, cells, 0);
}

static void put_happening(void *context, const char *time, const char *kind, const char *detail)
{
    const struct page *page = context;
    const char *cells[] = { time, kind, detail };
    paper_row(page->paper, INK_TEXT, cells, 0);
}

static void lay_out(struct paper *paper, const void *context)
{
    struct page page = { context, paper };
    static const struct paper_column uses[] = {
        { "", 60 }, { "name", 150 }, { "what", 165 }, { "calibration due", 130 }
    };
    static const struct paper_column events[] = { { "time (UTC)", 110 },
                                                  { "what", 90 },
                                                  { "", 305 } };
    put_head(&page);
    put_units(&page);
    put_key(&page);
    put_class(&page, REPORT_FAILED, "Points that failed");
    put_class(&page, REPORT_WATCH, "Points to look at");
    put_class(&page, REPORT_UNKNOWN, "Points not measured");
    put_lines(&page);
    paper_table(paper, "Measured with", uses, sizeof uses / sizeof *uses);
    report_uses(page.report, put_use, &page);
    paper_table(paper, "What happened", events, sizeof events / sizeof *events);
    report_happenings(page.report, put_happening, &page);
}

bool report_pdf(const struct report *report, FILE *out)
{
    char title[REPORT_LABEL + 32];
    snprintf(title, sizeof title, "Burn-in report %s", report->run);
    return paper_write(out, title, lay_out, report);
}
