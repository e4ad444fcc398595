/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "report_form.h"
#include "report_limits.h"
#include "report_plot.h"
#include "report_tables.h"
#include "tools/gradus/basics/field.h"
#include "tools/gradus/basics/margin.h"
#include "tools/gradus/basics/terminal_text.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* Plots in their own units; labels are written larger where the page is narrow. */
enum {
    PLOT_WIDTH = 560,
    PLOT_HEIGHT = 175,
    KEY_WIDTH = 400,
    LABEL = 12,
    CHART_HEIGHT = 120,
    SMALL_WIDTH = 150,
    SMALL_HEIGHT = 24
};

/* Colours are variables that a dark screen changes; what is printed is on white paper. */
static const char colours[] =
    ":root{--paper:#fff;--text:#1c1f23;--faint:#59616a;--rule:#d5d9de;--grid:#e3e6ea;"
    "--trace:#1f5fa8;--range:#a9c7ea;--limit:#8a5a00;--guard:#f3e2bd;--drift:#6b4aa3;--warm:#"
    "eceff2;"
    "--gap:#f6dede;--bad:#ab2b33;--watch:#8a5a00;--well:#1d6b3a}"
    "@media screen and (prefers-color-scheme:dark){:root{--paper:#14171a;--text:#e6e9ec;"
    "--faint:#a3adb8;--rule:#343a41;--grid:#2a2f35;--trace:#7fb2ee;--range:#35547c;--limit:#d9a441;"
    "--guard:#3d3117;--drift:#b79cf0;--warm:#22272d;--gap:#3a2226;--bad:#f39384;--watch:#e0b050;--"
    "well:#7cc796}}";

static const char style[] =
    ":root{color-scheme:light dark}"
    "body{background:var(--paper);color:var(--text);font:15px/1.45 system-ui,sans-serif;margin:0 "
    "auto;max-width:60rem;padding:1rem}"
    "h1{font-size:1.5rem;margin:.2em 0;overflow-wrap:anywhere}h2{font-size:1.15rem;margin:2em 0 "
    ".4em;border-bottom:1px solid var(--rule)}h3{font-size:1rem;margin:1.6em 0 0;"
    "overflow-wrap:anywhere}p{margin:.4em 0}a{color:inherit}"
    "h1,h3,td,dd,b{unicode-bidi:isolate}"
    "table{border-collapse:collapse;margin:.5em 0}"
    "th,td{padding:.15em .9em .15em 0;text-align:left;vertical-align:top}"
    "td.any{overflow-wrap:anywhere;min-width:7em}"
    ".lines td{min-width:4.4em}.lines td:nth-child(3){min-width:9em}"
    "th{font-weight:600;color:var(--faint)}td.n{text-align:right}td.n,td.w{white-space:nowrap}th.n{"
    "text-"
    "align:right}.wide{overflow-x:auto}.caution{border-left:4px solid var(--limit);padding:.3em "
    ".8em}.note,.of{color:var(--faint);font-size:.87rem}"
    ".failed{color:var(--bad);font-weight:600}.watch{color:var(--watch)}"
    ".well{color:var(--well)}.unknown{color:var(--faint)}"
    ".units{display:grid;grid-template-columns:repeat(auto-fill,minmax(6.6rem,1fr));gap:.3rem}"
    ".units.named{grid-template-columns:repeat(auto-fill,minmax(13rem,1fr))}"
    ".units a{border:1px solid var(--rule);border-left:5px solid;padding:.15rem .4rem;"
    "text-decoration:none;overflow-wrap:anywhere;display:block}.units b{color:var(--text)}"
    ".units span{white-space:nowrap;display:block}"
    "dl{display:grid;grid-template-columns:repeat(auto-fill,minmax(11rem,1fr));gap:.2rem 1rem;"
    "margin:.4em 0}dt{color:var(--faint);font-size:.8rem}dd{margin:0;overflow-wrap:anywhere}"
    "ul{margin:.4em "
    "0;padding-left:1.2em}li{overflow-wrap:anywhere}section:target,tr:target{outline:2px solid "
    "var(--trace);outline-offset:3px}svg{max-width:100%;height:auto;display:block}svg.plot{width:"
    "100%}svg.key{width:34rem}svg.small{max-width:none}"
    "svg text{font:8.5px system-ui,sans-serif}"
    "@media(max-width:40rem){body{padding:.7rem}svg text{font-size:14px}svg.key "
    "text{font-size:12px}"
    "dl{grid-template-columns:repeat(auto-fill,minmax(9.5rem,1fr))}}"
    "tr,dl,svg,.units a{break-inside:avoid}h2,h3,.of{break-after:avoid}"
    "thead{display:table-header-group}"
    "@page{size:A4;margin:15mm}"
    "@media "
    "print{:root{font-size:11px}body{font-size:1rem;max-width:none;padding:0}*{print-color-adjust:"
    "exact;"
    "-webkit-print-color-adjust:exact}.wide{overflow:visible}}";

static void escape(FILE *out, const char *text)
{
    char *tame = text_tame(text);
    for (const char *at = tame; *at != '\0'; at++) {
        switch (*at) {
        case '&':
            fputs("&amp;", out);
            break;
        case '<':
            fputs("&lt;", out);
            break;
        case '>':
            fputs("&gt;", out);
            break;
        case '"':
            fputs("&quot;", out);
            break;
        default:
            fputc(*at, out);
        }
    }
    free(tame);
}

static void element(FILE *out, const char *name, const char *class, const char *text)
{
    fprintf(out, "<%s%s%s%s>", name, class[0] != '\0' ? " class=\"" : "", class,
            class[0] != '\0' ? "\"" : "");
    escape(out, text);
    fprintf(out, "</%s>", name);
}

static const char *class_of(enum report_class class)
{
    static const char *const names[] = { [REPORT_FAILED] = "failed",
                                         [REPORT_WATCH] = "watch",
                                         [REPORT_UNKNOWN] = "unknown",
                                         [REPORT_WELL] = "well" };
    return names[class];
}

static const char *variable_of(enum ink ink)
{
    static const char *const names[INK_COUNT] = {
        [INK_TEXT] = "text",   [INK_FAINT] = "faint",  [INK_GRID] = "grid",   [INK_GAP] = "gap",
        [INK_TRACE] = "trace", [INK_RANGE] = "range",  [INK_LIMIT] = "limit", [INK_GUARD] = "guard",
        [INK_DRIFT] = "drift", [INK_WARM_UP] = "warm", [INK_BAD] = "bad",     [INK_WELL] = "well"
    };
    return names[ink];
}

static void svg_line(void *context, enum ink ink, double width, double x1, double y1, double x2,
                     double y2)
{
    fprintf(context,
            "<line x1=\"%.1f\" y1=\"%.1f\" x2=\"%.1f\" y2=\"%.1f\" stroke=\"var(--%s)\" "
            "stroke-width=\"%.2g\"/>",
            x1, y1, x2, y2, variable_of(ink), width);
}

static void svg_area(void *context, enum ink ink, double x, double y, double width, double height)
{
    fprintf(context,
            "<rect x=\"%.1f\" y=\"%.1f\" width=\"%.1f\" height=\"%.1f\" fill=\"var(--%s)\"/>", x, y,
            width, height, variable_of(ink));
}

static void svg_path(void *context, enum ink ink, double width, const double *points, size_t count)
{
    fprintf(context, "<polyline fill=\"none\" stroke=\"var(--%s)\" stroke-width=\"%.2g\" points=\"",
            variable_of(ink), width);
    for (size_t i = 0; i < count; i++)
        fprintf(context, "%.1f,%.1f ", points[2 * i], points[2 * i + 1]);
    fputs("\"/>", context);
}

static void svg_bars(void *context, enum ink ink, double width, const struct bar *bars,
                     size_t count)
{
    if (count == 0)
        return;
    fprintf(context, "<path stroke=\"var(--%s)\" stroke-width=\"%.2g\" d=\"", variable_of(ink),
            width);
    for (size_t i = 0; i < count; i++)
        fprintf(context, "M%.1f %.1fV%.1f", bars[i].x, bars[i].top, bars[i].bottom);
    fputs("\"/>", context);
}

static void svg_text(void *context, enum ink ink, double size, enum anchor anchor, double x,
                     double y, const char *text)
{
    static const char *const anchors[] = { "start", "middle", "end" };
    (void)size;
    fprintf(context, "<text x=\"%.1f\" y=\"%.1f\" text-anchor=\"%s\" fill=\"var(--%s)\">", x, y,
            anchors[anchor], variable_of(ink));
    escape(context, text);
    fputs("</text>", context);
}

static struct pen pen_on(FILE *out)
{
    return (struct pen) { out, LABEL, svg_line, svg_area, svg_path, svg_bars, svg_text };
}

static void open_svg(FILE *out, const char *class, double width, double height, const char *label)
{
    fprintf(out, "<svg class=\"%s\" viewBox=\"0 0 %.0f %.0f\" width=\"%.0f\" height=\"%.0f\" ",
            class, width, height, width, height);
    fputs("role=\"img\" aria-label=\"", out);
    escape(out, label);
    fputs("\">", out);
}

static void plot_full(const struct report *report, const struct report_point *point, FILE *out)
{
    const struct pen pen = pen_on(out);
    if (report_plot_has(point)) {
        open_svg(out, "plot", PLOT_WIDTH, PLOT_HEIGHT, point->name);
        report_plot(report, point, &pen, (struct plot_box) { 0, 0, PLOT_WIDTH, PLOT_HEIGHT });
        fputs("</svg>", out);
    }
}

static void plot_chart(const struct report *report, const struct report_point *point, FILE *out)
{
    const struct pen pen = pen_on(out);
    if (field_at(point->study, "chart") == NULL)
        return;
    element(out, "p", "of", report_chart_note);
    open_svg(out, "plot", PLOT_WIDTH, CHART_HEIGHT, "control chart");
    report_plot_chart(report, point, &pen, (struct plot_box) { 0, 0, PLOT_WIDTH, CHART_HEIGHT });
    fputs("</svg>", out);
}

static void plot_small(const struct report *report, const struct report_point *point, FILE *out)
{
    const struct pen pen = pen_on(out);
    open_svg(out, "small", SMALL_WIDTH, SMALL_HEIGHT, point->name);
    report_plot_small(report, point, &pen, (struct plot_box) { 0, 0, SMALL_WIDTH, SMALL_HEIGHT });
    fputs("</svg>", out);
}

/* As high as it turns out to be. */
static void plot_key(FILE *out)
{
    char *drawn = NULL;
    size_t length = 0;
    FILE *memory = open_memstream(&drawn, &length);
    if (memory == NULL)
        return;
    const struct pen pen = pen_on(memory);
    double height = report_plot_key(&pen, (struct plot_box) { 0, 0, KEY_WIDTH, 0 });
    if (fclose(memory) == 0) {
        open_svg(out, "key", KEY_WIDTH, height, "key to the plots");
        fputs(drawn, out);
        fputs("</svg>", out);
    }
    free(drawn);
}

static void fact(FILE *out, const char *name, const char *text)
{
    fputs("<div>", out);
    element(out, "dt", "", name);
    element(out, "dd", "", text);
    fputs("</div>", out);
}

static void write_job_fact(void *context, const char *what, const char *text)
{
    fact(context, what, text);
}

static void write_warning(void *context, const char *sentence)
{
    element(context, "p", "watch", sentence);
}

static void write_head(const struct report *report, FILE *out)
{
    char text[WORDS_SIZE];
    fputs("<!DOCTYPE html>\n<html lang=\"en\"><head><meta charset=\"utf-8\">"
          "<meta name=\"viewport\" content=\"width=device-width,initial-scale=1\"><title>",
          out);
    escape(out, report->run);
    fprintf(out, "</title><style>%s%s</style></head><body>\n", colours, style);
    element(out, "p", "unknown", "Burn-in report");
    element(out, "h1", "", report->run);
    element(out, "p", report_units(report, REPORT_FAILED) > 0 ? "failed" : "",
            report_outcome(report, text));
    report_warnings(report, write_warning, out);
    fputs("<dl>", out);
    fact(out, "plan", field_text_or_empty(report->began, "plan"));
    report_job(report, write_job_fact, out);
    if (field_text_or_empty(report->began, "by")[0] != '\0')
        fact(out, "begun by", field_text(report->began, "by"));
    fact(out, "first round (UTC)", report_moment(report->first, text));
    fact(out, "last round (UTC)", report_moment(report->last, text));
    fact(out, "a round every", report_span(report->every, text));
    fact(out, "report made (UTC)", report_moment(report->made, text));
    fputs("</dl>\n<p>Phases: ", out);
    escape(out, report_phases(report, text));
    fputs(" UTC.</p>\n", out);
    element(out, "p", "caution", report_caution);
}

static void write_unit(const struct report *report, size_t i, FILE *out)
{
    const struct report_unit *unit = &report->units[i];
    char margin[MARGIN_TEXT];
    fprintf(out, "<a class=\"%s\" href=\"#point-%zu\"><b>", class_of(unit->class),
            report_worst_of(report, i));
    escape(out, unit->label);
    fprintf(out, "</b><span>%s</span>", report_class_name(unit->class));
    if (unit->dead || isfinite(unit->worst))
        fprintf(out, "<span>%s</span>", unit->dead ? "dead" : margin_text(unit->worst, margin));
    fputs("</a>", out);
}

/* What failed, by unit, with a link to each. */
static void write_failures(const struct report *report, FILE *out)
{
    char text[WORDS_SIZE];
    size_t left = report_points(report, REPORT_FAILED), told = 0;
    if (left == 0)
        return;
    element(out, "h2", "", "What failed");
    fputs("<ul>", out);
    for (size_t i = 0; i < report->point_count && told < REPORT_BRIEF_MOST; i++) {
        const struct report_point *point = &report->points[i];
        if (point->class != REPORT_FAILED)
            continue;
        fprintf(out, "<li><a href=\"#point-%zu\">", i);
        escape(out, report_title(point, text));
        fputs("</a>: ", out);
        escape(out, report_brief(point, text));
        fputs("</li>\n", out);
        told++;
    }
    fputs("</ul>\n", out);
    if (left > told)
        fprintf(out, "<p>%zu more failed; they stand below.</p>\n", left - told);
}

/* Whether a unit is called by a name, which takes more room than a number. */
static bool has_names(const struct report *report)
{
    for (size_t i = 0; i < report->unit_count; i++)
        if (report->units[i].number == 0)
            return true;
    return false;
}

static void write_units(const struct report *report, FILE *out)
{
    element(out, "h2", "", "Units and their margins");
    fprintf(out, "<div class=\"units%s\">", has_names(report) ? " named" : "");
    for (size_t i = 0; i < report->unit_count; i++)
        write_unit(report, i, out);
    fputs("</div>\n", out);
    element(out, "p", "note", report_margin_note);
    element(out, "p", "note", report_uncertainty_note);
}

static void write_full(const struct report *report, const struct report_point *point, FILE *out)
{
    struct report_figure figures[REPORT_FIGURES];
    char text[WORDS_SIZE];
    size_t count = report_figures(point, figures);
    fprintf(out, "<section id=\"point-%td\">", point - report->points);
    element(out, "h3", class_of(point->class), point->name);
    element(out, "p", "of", report_subject(point, text));
    element(out, "p", "", report_course(point, text));
    fputs("<dl>", out);
    fact(out, "limits", report_limits(point, text));
    for (size_t i = 0; i < count; i++)
        fact(out, figures[i].name, figures[i].text);
    fputs("</dl>", out);
    plot_full(report, point, out);
    plot_chart(report, point, out);
    fputs("</section>\n", out);
}

/* The figures that a point which is well is shown with. */
static const char *const line_figures[] = { "worst margin", "minimum",     "mean",
                                            "maximum",      "uncertainty", "last − first" };
enum { LINE_FIGURES = sizeof line_figures / sizeof *line_figures };

static void write_line(const struct report *report, const struct report_point *point, FILE *out)
{
    struct report_figure figures[REPORT_FIGURES];
    char text[WORDS_SIZE];
    size_t count = report_figures(point, figures);
    fprintf(out, "<tr id=\"point-%td\">", point - report->points);
    element(out, "td", "any", point->name);
    fputs("<td>", out);
    plot_small(report, point, out);
    fputs("</td>", out);
    element(out, "td", "", report_limits_short(point, text));
    for (size_t i = 0; i < LINE_FIGURES; i++)
        element(out, "td", "n", report_short(report_figure(figures, count, line_figures[i]), text));
    fputs("</tr>\n", out);
}

static void write_set(void *context, const char *set, const char *limits)
{
    FILE *out = context;
    fputs("<li>", out);
    element(out, "b", "", set);
    fputs(": ", out);
    escape(out, limits);
    fputs("</li>\n", out);
}

/* What went well, one line a point. */
static void write_lines(const struct report *report, FILE *out)
{
    if (report_lines(report) == 0)
        return;
    element(out, "h2", "", "Points within limits");
    if (report->limit_sets > 0) {
        element(out, "p", "", "Limits that differ by phase:");
        fputs("<ul>", out);
        report_limit_sets(report, write_set, out);
        fputs("</ul>\n", out);
    }
    fputs("<div class=\"wide\"><table class=\"lines\"><thead><tr><th>point</th>"
          "<th>course between its limits</th><th>limits</th>",
          out);
    for (size_t i = 0; i < LINE_FIGURES; i++)
        element(out, "th", "n", line_figures[i]);
    fputs("</tr></thead><tbody>\n", out);
    for (size_t i = 0; i < report->point_count; i++)
        if (report_is_line(&report->points[i]))
            write_line(report, &report->points[i], out);
    fputs("</tbody></table></div>\n", out);
}

static void write_class(const struct report *report, enum report_class class, const char *heading,
                        FILE *out)
{
    if (report_points(report, class) == 0)
        return;
    element(out, "h2", "", heading);
    for (size_t i = 0; i < report->point_count; i++)
        if (report->points[i].class == class)
            write_full(report, &report->points[i], out);
}

/* Check standards that are well: their charts say so. */
static void write_standards(const struct report *report, FILE *out)
{
    if (report_points(report, REPORT_WELL) == report_lines(report))
        return;
    element(out, "h2", "", "Check standards");
    for (size_t i = 0; i < report->point_count; i++)
        if (report->points[i].class == REPORT_WELL && !report_is_line(&report->points[i]))
            write_full(report, &report->points[i], out);
}

static void write_use(void *context, const struct report_use *use)
{
    FILE *out = context;
    char text[WORDS_SIZE];
    fputs("<tr>", out);
    element(out, "td", "", use->kind);
    element(out, "td", "any", use->name);
    element(out, "td", "any", report_use_detail(use, text));
    element(out, "td", use->expired ? "failed" : "", report_use_calibration(use, text));
    fputs("</tr>\n", out);
}

static void write_event(void *context, const char *time, const char *kind, const char *detail)
{
    FILE *out = context;
    fputs("<tr>", out);
    element(out, "td", "w", time);
    element(out, "td", "w", kind);
    element(out, "td", "any", detail);
    fputs("</tr>\n", out);
}

void report_html(const struct report *report, FILE *out)
{
    write_head(report, out);
    write_failures(report, out);
    write_units(report, out);
    if (report_lines(report) < report->point_count)
        plot_key(out);
    write_class(report, REPORT_FAILED, "Points that failed", out);
    write_class(report, REPORT_WATCH, "Points to look at", out);
    write_class(report, REPORT_UNKNOWN, "Points not measured", out);
    write_standards(report, out);
    write_lines(report, out);
    element(out, "h2", "", "Measured with");
    fputs("<div class=\"wide\"><table><thead><tr><th></th><th>name</th><th>what</th>"
          "<th>calibration due</th></tr></thead><tbody>\n",
          out);
    report_uses(report, write_use, out);
    fputs("</tbody></table></div>\n", out);
    element(out, "h2", "", "What happened");
    fputs("<div class=\"wide\"><table><thead><tr><th>time (UTC)</th><th>what</th><th></th></tr>"
          "</thead><tbody>\n",
          out);
    report_happenings(report, write_event, out);
    fputs("</tbody></table></div>\n</body></html>\n", out);
}
