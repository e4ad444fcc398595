/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "field.h"
#include "report_form.h"
#include "report_plot.h"
#include "report_tables.h"

#include <math.h>
#include <string.h>

enum { PLOT_WIDTH = 720, PLOT_HEIGHT = 190, SMALL_WIDTH = 150, SMALL_HEIGHT = 24 };

/* Classes of ink and of points; print and dark screens only change the variables. */
static const char style[] =
    ":root{--paper:#fff;--text:#1c1f23;--faint:#6a727b;--rule:#d5d9de;--trace:#1f5fa8;"
    "--range:#9dbfe6;--limit:#8a5a00;--guard:#f1dfb8;--warm:#eceff2;--bad:#b3261e;--watch:#8a5a00;"
    "--well:#1d6b3a}"
    "@media screen and (prefers-color-scheme:dark){:root{--paper:#14171a;--text:#e6e9ec;"
    "--faint:#98a2ad;--rule:#343a41;--trace:#7fb2ee;--range:#35547c;--limit:#d9a441;"
    "--guard:#3d3117;--warm:#22272d;--bad:#ff8a80;--watch:#e0b050;--well:#7cc796}}"
    "body{background:var(--paper);color:var(--text);font:15px/1.45 system-ui,sans-serif;margin:0 "
    "auto;max-width:60rem;padding:1rem}"
    "h1{font-size:1.5rem;margin:.2em 0}h2{font-size:1.15rem;margin:2em 0 .4em;border-bottom:1px "
    "solid var(--rule)}h3{font-size:1rem;margin:1.6em 0 .2em;overflow-wrap:anywhere}"
    "p{margin:.4em 0}table{border-collapse:collapse;margin:.5em 0}"
    "th,td{padding:.15em .7em .15em 0;text-align:left;vertical-align:top}"
    "th{font-weight:600;color:var(--faint)}td.n{text-align:right;white-space:nowrap}"
    ".wide{overflow-x:auto}.caution{border-left:4px solid var(--limit);padding:.3em .8em;"
    "color:var(--faint)}.failed{color:var(--bad);font-weight:600}.watch{color:var(--watch)}"
    ".well{color:var(--well)}.unknown{color:var(--faint)}"
    ".units{display:grid;grid-template-columns:repeat(auto-fill,minmax(7rem,1fr));gap:.3rem}"
    ".units div{border:1px solid var(--rule);border-left:5px solid;padding:.15rem .4rem;"
    "overflow-wrap:anywhere;font-weight:400}.units b{color:var(--text)}"
    "dl{display:flex;flex-wrap:wrap;gap:.2rem 1.6rem;margin:.3em 0}dt{color:var(--faint);font-size:"
    ".8rem}dd{margin:0}svg{max-width:100%;height:auto}.large svg{min-width:34rem}svg text{font:7px "
    "system-ui,sans-serif}"
    "section{break-inside:avoid}tr{break-inside:avoid}thead{display:table-header-group}"
    "@media print{body{font-size:11px;max-width:none}}";

static void escape(FILE *out, const char *text)
{
    for (; *text != '\0'; text++) {
        switch (*text) {
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
            /* No control character but tab and line ends may stand in HTML. */
            fputc((unsigned char)*text < 0x20 && *text != '\n' && *text != '\t' ? '?' : *text, out);
        }
    }
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
        [INK_TEXT] = "text",   [INK_FAINT] = "faint", [INK_TRACE] = "trace",  [INK_RANGE] = "range",
        [INK_LIMIT] = "limit", [INK_GUARD] = "guard", [INK_WARM_UP] = "warm", [INK_BAD] = "bad",
        [INK_WELL] = "well",   [INK_GRID] = "rule"
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
    for (size_t i = 0; i < count; i++) {
        fprintf(context, "%.1f,%.1f ", points[2 * i], points[2 * i + 1]);
    }
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

static void plot(const struct report *report, const struct report_point *point, bool small,
                 FILE *out)
{
    const struct pen pen = { out, svg_line, svg_area, svg_path, svg_text };
    double width = small ? SMALL_WIDTH : PLOT_WIDTH, height = small ? SMALL_HEIGHT : PLOT_HEIGHT;
    struct plot_box box = { 0, 0, width, height };
    fprintf(out,
            "<svg viewBox=\"0 0 %.0f %.0f\" width=\"%.0f\" height=\"%.0f\" role=\"img\" "
            "aria-label=\"",
            width, height, width, height);
    escape(out, point->name);
    fputs(" over the run\">", out);
    if (small) {
        report_plot_small(report, point, &pen, box);
    } else {
        report_plot(report, point, &pen, box);
    }
    fputs("</svg>", out);
}

static void fact(FILE *out, const char *name, const char *text)
{
    fputs("<div>", out);
    element(out, "dt", "", name);
    element(out, "dd", "", text);
    fputs("</div>", out);
}

static void write_head(const struct report *report, FILE *out)
{
    char text[WORDS_SIZE];
    fputs("<!DOCTYPE html>\n<html lang=\"en\"><head><meta charset=\"utf-8\">"
          "<meta name=\"viewport\" content=\"width=device-width,initial-scale=1\"><title>",
          out);
    escape(out, report->run);
    fprintf(out, "</title><style>%s</style></head><body>\n", style);
    element(out, "p", "unknown", "Burn-in report");
    element(out, "h1", "", report->run);
    element(out, "p", report_units(report, REPORT_FAILED) > 0 ? "failed" : "",
            report_outcome(report, text));
    fputs("<dl>", out);
    fact(out, "plan", field_text_or_empty(report->began, "plan"));
    fact(out, "first round (UTC)", report_moment(report->first, text));
    fact(out, "last round (UTC)", report_moment(report->last, text));
    fact(out, "a round every", report_span(report->every, text));
    fact(out, "report made (UTC)", report_moment(report->made, text));
    fputs("</dl>\n", out);
    if (report_disturbances(report, text)[0] != '\0') {
        element(out, "p", "watch", text);
    }
    element(out, "p", "caution", report_caution);
}

static void write_units(const struct report *report, FILE *out)
{
    element(out, "h2", "", "Units");
    fputs("<div class=\"units\">", out);
    for (size_t i = 0; i < report->unit_count; i++) {
        const struct report_unit *unit = &report->units[i];
        fprintf(out, "<div class=\"%s\"><b>", class_of(unit->class));
        escape(out, unit->label);
        fprintf(out, "</b> %s", report_class_name(unit->class));
        if (isfinite(unit->worst)) {
            fprintf(out, "<br>margin %.0f %%", floor(100 * unit->worst));
        }
        fputs("</div>", out);
    }
    fputs("</div>\n<p class=\"unknown\">The margin is the worst of a unit's points: 100 % in the "
          "middle between the limits, 0 % at a limit, below 0 % beyond it.</p>\n",
          out);
}

static void write_full(const struct report *report, const struct report_point *point, FILE *out)
{
    struct report_figure figures[REPORT_FIGURES];
    char text[WORDS_SIZE];
    size_t count = report_figures(point, figures);
    fputs("<section>", out);
    element(out, "h3", class_of(point->class), point->name);
    element(out, "p", "", report_course(point, text));
    fputs("<dl>", out);
    for (size_t i = 0; i < count; i++) {
        fact(out, figures[i].name, figures[i].text);
    }
    fputs("</dl><div class=\"wide large\">", out);
    plot(report, point, false, out);
    fputs("</div></section>\n", out);
}

static const char *figure_named(const struct report_figure *figures, size_t count, const char *name)
{
    for (size_t i = 0; i < count; i++) {
        if (strcmp(figures[i].name, name) == 0) {
            return figures[i].text;
        }
    }
    return "";
}

/* What went well, one line a point. */
static void write_lines(const struct report *report, FILE *out)
{
    static const char *const columns[] = { "minimum", "mean", "maximum", "last − first",
                                           "worst margin" };
    char text[WORDS_SIZE];
    if (report_points(report, REPORT_WELL) == 0) {
        return;
    }
    element(out, "h2", "", "Points that are well");
    fputs("<div class=\"wide\"><table><thead><tr><th>point</th><th>limits</th>", out);
    for (size_t i = 0; i < 5; i++) {
        element(out, "th", "", columns[i]);
    }
    fputs("<th>course, own scale</th></tr></thead><tbody>\n", out);
    for (size_t i = 0; i < report->point_count; i++) {
        const struct report_point *point = &report->points[i];
        struct report_figure figures[REPORT_FIGURES];
        if (point->class != REPORT_WELL) {
            continue;
        }
        size_t count = report_figures(point, figures);
        fputs("<tr>", out);
        element(out, "td", "", point->name);
        element(out, "td", "", report_limits(point, text));
        for (size_t j = 0; j < 5; j++) {
            element(out, "td", "n", figure_named(figures, count, columns[j]));
        }
        fputs("<td>", out);
        plot(report, point, true, out);
        fputs("</td></tr>\n", out);
    }
    fputs("</tbody></table></div>\n", out);
}

static void write_class(const struct report *report, enum report_class class, const char *heading,
                        FILE *out)
{
    if (report_points(report, class) == 0) {
        return;
    }
    element(out, "h2", "", heading);
    for (size_t i = 0; i < report->point_count; i++) {
        if (report->points[i].class == class) {
            write_full(report, &report->points[i], out);
        }
    }
}

static void write_use(void *context, const struct report_use *use)
{
    FILE *out = context;
    char text[WORDS_SIZE];
    fputs("<tr>", out);
    element(out, "td", "", use->kind);
    element(out, "td", "", use->name);
    element(out, "td", "", report_use_detail(use, text));
    element(out, "td", use->expired ? "failed" : "", report_use_calibration(use, text));
    fputs("</tr>\n", out);
}

static void write_event(void *context, const char *time, const char *kind, const char *detail)
{
    FILE *out = context;
    fputs("<tr>", out);
    element(out, "td", "", time);
    element(out, "td", "", kind);
    element(out, "td", "", detail);
    fputs("</tr>\n", out);
}

void report_html(const struct report *report, FILE *out)
{
    write_head(report, out);
    write_units(report, out);
    write_class(report, REPORT_FAILED, "Points that failed", out);
    write_class(report, REPORT_WATCH, "Points to look at", out);
    write_class(report, REPORT_UNKNOWN, "Points without a reading", out);
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
