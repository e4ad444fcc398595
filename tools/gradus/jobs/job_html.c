/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "core/basics/notation.h"
#include "job_sheet.h"
#include "tools/gradus/answers/reading.h"
#include "tools/gradus/basics/field.h"
#include "tools/gradus/basics/terminal_text.h"

#include <glib.h>
#include <stdlib.h>
#include <string.h>

/* A verdict is told by its word; what is red on a screen is bold on paper. */
static const char style[] =
    "body{font:15px/1.45 system-ui,sans-serif;color:#1c1f23;background:#fff;margin:0 auto;"
    "max-width:60rem;padding:1rem}h1{font-size:1.5rem;margin:.8em 0 .2em;overflow-wrap:anywhere}"
    "h2{font-size:1.1rem;margin:1.6em 0 .3em;border-bottom:1px solid #d5d9de}"
    "header{display:flex;justify-content:space-between;gap:1rem;align-items:flex-start}"
    "header img{max-height:5rem;max-width:14rem}address{font-style:normal;white-space:pre-line}"
    "dl{display:grid;grid-template-columns:max-content 1fr;gap:.1rem 1rem;margin:.4em 0}"
    "dt{color:#59616a}dd{margin:0;overflow-wrap:anywhere;unicode-bidi:isolate}"
    ".wide{overflow-x:auto}table{border-collapse:collapse;width:100%}"
    "th,td{text-align:left;vertical-align:top;padding:.2em .8em .2em 0;border-bottom:1px solid "
    "#e3e6ea}th{color:#59616a;font-weight:600}td{unicode-bidi:isolate}td.v{white-space:nowrap}"
    ".fail{color:#ab2b33;font-weight:700}.doubt{color:#8a5a00}"
    ".sign{display:grid;grid-template-columns:repeat(3,1fr);gap:2rem;margin-top:4rem}"
    ".sign div{border-top:1px solid #1c1f23;padding-top:.2em;color:#59616a}"
    "tr,dl,.sign{break-inside:avoid}thead{display:table-header-group}@page{size:A4;margin:15mm}"
    /* On a phone a row becomes a card, each cell under the name of its column. */
    "@media screen and (max-width:40rem){.cards thead{display:none}.cards tr{display:block;"
    "padding:.5em 0;border-bottom:1px solid #d5d9de}.cards td{display:flex;gap:1rem;border:0;"
    "padding:.05em 0}.cards td.v{white-space:normal}.cards td:empty{display:none}"
    ".cards td::before{content:attr(data-of);color:#59616a;flex:0 0 7.5rem}}"
    "@media print{body{font-size:10.5px;max-width:none;padding:0}.wide{overflow:visible}}";

static void put(FILE *out, const char *text)
{
    char *const tame = text_tame(text);
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

static void put_in(FILE *out, const char *open, const char *text, const char *close)
{
    fputs(open, out);
    put(out, text);
    fputs(close, out);
}

/* The picture itself stands in the page, so that the page can be sent on alone. */
static void put_logo(FILE *out, const char *path)
{
    gchar *bytes = NULL;
    gsize length = 0;
    const char *const dot = strrchr(path, '.');
    const char *const kind = dot != NULL && strcmp(dot, ".svg") == 0   ? "svg+xml"
                             : dot != NULL && strcmp(dot, ".jpg") == 0 ? "jpeg"
                                                                       : "png";
    if (path[0] == '\0' || !g_file_get_contents(path, &bytes, &length, NULL))
        return;
    gchar *const coded = g_base64_encode((const guchar *)bytes, length);
    fprintf(out, "<img alt=\"\" src=\"data:image/%s;base64,%s\">", kind, coded);
    g_free(coded);
    g_free(bytes);
}

static void write_head(const struct job_sheet *sheet, FILE *out)
{
    fputs("<header><address>", out);
    put_in(out, "<b>", field_text_or_empty(sheet->shop, "name"), "</b>\n");
    put(out, field_text_or_empty(sheet->shop, "address"));
    fputs("</address>", out);
    put_logo(out, field_text_or_empty(sheet->shop, "logo"));
    fputs("</header>", out);
    put_in(out, "<h1>Test report: ", field_text_or_empty(sheet->about, "name"), "</h1>");
}

static void put_fact(FILE *out, const char *what, const char *text)
{
    if (text[0] == '\0')
        return;
    put_in(out, "<dt>", what, "</dt>");
    put_in(out, "<dd>", text, "</dd>");
}

static void write_fact(void *context, const char *what, const char *text)
{
    put_fact(context, what, text);
}

static void write_facts(const struct job_sheet *sheet, FILE *out)
{
    fputs("<dl>", out);
    job_facts(sheet, write_fact, out);
    fputs("</dl>", out);
}

/* A cell; `of` names its column where there is no room for headings. */
static void put_cell(FILE *out, const char *of, const char *class, const char *text)
{
    fprintf(out, "<td data-of=\"%s\"%s%s>", of, class[0] != '\0' ? " class=" : "", class);
    put_in(out, "", text, "</td>");
}

static void put_result(FILE *out, const char *stage, const json_t *item, int digits)
{
    char text[NOTATION_SIZE];
    const char *const verdict = job_verdict(item);
    const bool bad = strcmp(verdict, "fail") == 0 || strcmp(verdict, "no reading") == 0;
    const bool doubt = strncmp(verdict, "conditional", strlen("conditional")) == 0;
    put_cell(out, stage, "v", job_value(item, digits, text, sizeof text));
    put_cell(out, "Verdict", bad ? "fail" : doubt ? "doubt" : "", verdict);
}

static void write_lines(const struct job_sheet *sheet, int digits, FILE *out)
{
    put_in(out, "<h2>Readings</h2><p>", job_readings_note,
           "</p><div class=wide><table class=cards><thead><tr><th>Point<th>Serial number"
           "<th>Limits<th>Before<th>Verdict<th>After<th>Verdict</tr></thead><tbody>");
    for (size_t i = 0; i < sheet->line_count; i++) {
        const struct job_line *const line = &sheet->lines[i];
        char text[READING_TEXT];
        fputs("<tr>", out);
        put_cell(out, "Point", "", line->point);
        put_cell(out, "Serial number", "", line->serial);
        put_cell(out, "Limits", "v", job_limits(line, text));
        put_result(out, "Before", line->before, digits);
        put_result(out, "After", line->after, digits);
        fputs("</tr>", out);
    }
    fputs("</tbody></table></div>", out);
}

static void put_instrument(void *context, const json_t *instrument)
{
    FILE *const out = context;
    fputs("<tr>", out);
    put_cell(out, "Instrument", "", field_text_or_empty(instrument, "name"));
    put_cell(out, "Identity", "", field_text_or_empty(instrument, "identity"));
    put_cell(out, "Certificate", "", field_text_or_empty(instrument, "certificate"));
    put_cell(out, "Calibration due", "", field_text_or_empty(instrument, "calibration_due"));
    fputs("</tr>", out);
}

static void write_instruments(const struct job_sheet *sheet, FILE *out)
{
    fputs("<h2>Instruments</h2><div class=wide><table "
          "class=cards><thead><tr><th>Instrument<th>Identity"
          "<th>Certificate<th>Calibration due</tr></thead><tbody>",
          out);
    job_instruments(sheet, put_instrument, out);
    fputs("</tbody></table></div>", out);
}

void job_html(const struct job_sheet *sheet, int digits, FILE *out)
{
    fputs("<!DOCTYPE html>\n<html lang=en><head><meta charset=utf-8>"
          "<meta name=viewport content=\"width=device-width,initial-scale=1\">",
          out);
    put_in(out, "<title>", field_text_or_empty(sheet->about, "name"), "</title>");
    fprintf(out, "<style>%s</style></head><body>", style);
    write_head(sheet, out);
    write_facts(sheet, out);
    write_lines(sheet, digits, out);
    write_instruments(sheet, out);
    fputs("<div class=sign><div>Place, date</div><div>Measured by</div><div>Signature</div></div>"
          "</body></html>\n",
          out);
}
