/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The report on paper: what stands where. */
#include "paper.h"
#include "report_form.h"
#include "report_limits.h"
#include "report_plot.h"
#include "report_tables.h"

#include "tools/gradus/basics/field.h"
#include "tools/gradus/basics/margin.h"

#include <math.h>
#include <string.h>

/* How much the words and figures of a point take at most, as a rule. */
static const double words_height = 62, figures_height = 44;

static const double figure_size = 7.5;

static const double unit_width = 72, plot_height = 115, chart_height = 80, line_height = 18;

/* The least number of units side by side. */
enum { UNITS_LEAST = 3, PLACE = 32 };

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

/* The name of a point's place in the document. Returns text. */
static const char *place_of(size_t point, char text[PLACE])
{
    snprintf(text, PLACE, "point-%zu", point);
    return text;
}

static void place_point(const struct page *page, const struct report_point *point)
{
    char place[PLACE];
    paper_place(page->paper, place_of((size_t)(point - page->report->points), place));
}

static void put_warning(void *context, const char *sentence)
{
    const struct page *page = context;
    paper_paragraph(page->paper, INK_LIMIT, paper_plain, PAPER_PLAIN, sentence);
}

static void put_job_fact(void *context, const char *what, const char *text)
{
    const struct page *page = context;
    char line[WORDS_SIZE];
    snprintf(line, sizeof line, "%.100s: %.800s", what, text);
    paper_paragraph(page->paper, INK_TEXT, paper_plain, PAPER_PLAIN, line);
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
    report_job(report, put_job_fact, page);
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

/* What failed, by unit, with a link to each. */
static void put_failures(struct page *page)
{
    const struct report *report = page->report;
    char brief[WORDS_SIZE], title[WORDS_SIZE], text[2 * WORDS_SIZE], place[PLACE];
    size_t left = report_points(report, REPORT_FAILED), told = 0;
    if (left == 0)
        return;
    paper_heading(page->paper, "What failed", 20);
    for (size_t i = 0; i < report->point_count && told < REPORT_BRIEF_MOST; i++) {
        const struct report_point *point = &report->points[i];
        if (point->class != REPORT_FAILED)
            continue;
        snprintf(text, sizeof text, "%s: %s", report_title(point, title),
                 report_brief(point, brief));
        paper_need(page->paper, 26);
        paper_link(page->paper, place_of(i, place));
        paper_paragraph(page->paper, INK_TEXT, paper_plain, PAPER_PLAIN, text);
        paper_link_end(page->paper);
        told++;
    }
    if (left > told) {
        snprintf(text, sizeof text, "%zu more failed; they stand below.", left - told);
        paper_paragraph(page->paper, INK_TEXT, paper_plain, PAPER_PLAIN, text);
    }
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
    char text[WORDS_SIZE], margin[MARGIN_TEXT], place[PLACE];
    const struct pen pen = paper_pen(page->paper);
    snprintf(text, sizeof text, "%s", report_class_name(unit->class));
    if (unit->dead || isfinite(unit->worst)) {
        snprintf(text, sizeof text, "%s %s", report_class_name(unit->class),
                 unit->dead ? "dead" : margin_text(unit->worst, margin));
    }
    paper_link(
        page->paper,
        place_of(report_worst_of(page->report, (size_t)(unit - page->report->units)), place));
    pen.area(pen.context, ink_of(unit->class), x, page->paper->y,
             unit->class == REPORT_WELL ? 1 : 3, label_height + paper_small + 3);
    paper_put(page->paper, INK_TEXT, paper_plain, PAPER_BOLD, x + 6, page->paper->y, width - 12,
              unit->label);
    paper_put(page->paper, ink_of(unit->class), 6.5, PAPER_PLAIN, x + 6,
              page->paper->y + label_height, 0, text);
    paper_link_end(page->paper);
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
    enum { ACROSS = 5 };
    struct report_figure figures[REPORT_FIGURES];
    size_t count = report_figures(point, figures);
    double width = paper_width / ACROSS, height = 0;
    paper_need(page->paper, figures_height);
    for (size_t i = 0; i < count; i++) {
        double x = paper_margin + (double)(i % ACROSS) * width;
        paper_put(page->paper, INK_FAINT, paper_small, PAPER_PLAIN, x, page->paper->y, width - 6,
                  figures[i].name);
        height = fmax(height, paper_put(page->paper, INK_TEXT, figure_size, PAPER_PLAIN, x,
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

static void put_chart(struct page *page, const struct report_point *point)
{
    const struct pen pen = paper_pen(page->paper);
    if (field_at(point->study, "chart") == NULL)
        return;
    paper_need(page->paper, chart_height + 20);
    paper_paragraph(page->paper, INK_FAINT, paper_small + 1, PAPER_PLAIN, report_chart_note);
    report_plot_chart(
        page->report, point, &pen,
        (struct plot_box) { paper_margin, page->paper->y, paper_width, chart_height });
    page->paper->y += chart_height + 4;
}

static double height_of(const struct report_point *point)
{
    return (report_plot_has(point) ? plot_height : 0) + words_height + figures_height;
}

static void put_full(struct page *page, const struct report_point *point)
{
    char text[WORDS_SIZE], subject[WORDS_SIZE], limits[WORDS_SIZE];
    paper_need(page->paper, height_of(point));
    page->paper->y += 8;
    place_point(page, point);
    paper_paragraph(page->paper, ink_of(point->class), 10.5, PAPER_BOLD, point->name);
    report_subject(point, subject);
    snprintf(text, sizeof text, "%.200s, %.800s", subject, report_limits(point, limits));
    paper_paragraph(page->paper, INK_FAINT, paper_plain, PAPER_PLAIN, text);
    paper_paragraph(page->paper, INK_TEXT, paper_plain, PAPER_PLAIN, report_course(point, text));
    put_figures(page, point);
    put_plot(page, point);
    put_chart(page, point);
}

static void put_key(struct page *page)
{
    const struct pen pen = paper_pen(page->paper);
    if (report_lines(page->report) < page->report->point_count) {
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
    paper_heading(page->paper, title, plot_height + words_height + figures_height);
    for (size_t i = 0; i < report->point_count; i++)
        if (report->points[i].class == class)
            put_full(page, &report->points[i]);
}

/* Check standards that are well: their charts say so. */
static void put_standards(struct page *page)
{
    const struct report *report = page->report;
    if (report_points(report, REPORT_WELL) == report_lines(report))
        return;
    paper_heading(page->paper, "Check standards", plot_height + words_height + figures_height);
    for (size_t i = 0; i < report->point_count; i++)
        if (report->points[i].class == REPORT_WELL && !report_is_line(&report->points[i]))
            put_full(page, &report->points[i]);
}

static const struct paper_column point_columns[] = {
    { "point and limits", 121 }, { "margin", 36 },
    { "minimum", 62 },           { "mean", 62 },
    { "maximum", 62 },           { "uncertainty", 58 },
    { "last − first", 44 },      { "in its limits", 60 },
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
    snprintf(name, sizeof name, "%s\n%s", point->name, report_limits_short(point, limits));
    place_point(page, point);
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

static void put_set(void *context, const char *set, const char *limits)
{
    const struct page *page = context;
    char text[WORDS_SIZE + 40];
    snprintf(text, sizeof text, "%s: %s", set, limits);
    paper_paragraph(page->paper, INK_TEXT, paper_plain, PAPER_PLAIN, text);
}

static void put_lines(struct page *page)
{
    const struct report *report = page->report;
    if (report_lines(report) == 0)
        return;
    paper_table(page->paper, "Points within limits", point_columns,
                sizeof point_columns / sizeof *point_columns, report_lines(report));
    for (size_t i = 0; i < report->point_count; i++)
        if (report_is_line(&report->points[i]))
            put_line(page, &report->points[i]);
    if (report->limit_sets > 0)
        paper_heading(page->paper, "Limits that differ by phase", 30);
    report_limit_sets(report, put_set, page);
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

static void count_use(void *context, const struct report_use *use)
{
    (void)use;
    ++*(size_t *)context;
}

static void count_happening(void *context, const char *time, const char *kind, const char *detail)
{
    (void)time;
    (void)kind;
    (void)detail;
    ++*(size_t *)context;
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
    put_failures(&page);
    put_units(&page);
    put_key(&page);
    put_class(&page, REPORT_FAILED, "Points that failed");
    put_class(&page, REPORT_WATCH, "Points to look at");
    put_class(&page, REPORT_UNKNOWN, "Points not measured");
    put_standards(&page);
    put_lines(&page);
    size_t use_count = 0, happening_count = 0;
    report_uses(page.report, count_use, &use_count);
    report_happenings(page.report, count_happening, &happening_count);
    paper_table(paper, "Measured with", uses, sizeof uses / sizeof *uses, use_count);
    report_uses(page.report, put_use, &page);
    paper_table(paper, "What happened", events, sizeof events / sizeof *events, happening_count);
    report_happenings(page.report, put_happening, &page);
}

bool report_pdf(const struct report *report, FILE *out)
{
    char title[REPORT_LABEL + 32];
    snprintf(title, sizeof title, "Burn-in report %s", report->run);
    return paper_write(out, title, lay_out, report);
}
