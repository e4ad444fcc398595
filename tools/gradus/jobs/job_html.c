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

static const char *time_of(const struct job_sheet *sheet, size_t index)
{
    return field_text_or_empty(json_array_get(sheet->items, index), "time");
}

static void write_facts(const struct job_sheet *sheet, FILE *out)
{
    const char *name;
    json_t *value;
    fputs("<dl>", out);
    put_fact(out, "Customer", field_text_or_empty(sheet->about, "customer"));
    put_fact(out, "Unit", field_text_or_empty(sheet->about, "unit"));
    put_fact(out, "Serial number", field_text_or_empty(sheet->about, "serial"));
    put_fact(out, "Measured by", field_text_or_empty(sheet->about, "measured_by"));
    put_fact(out, "First reading", time_of(sheet, 0));
    put_fact(out, "Last reading", time_of(sheet, json_array_size(sheet->items) - 1));
    json_object_foreach(json_object_get(sheet->about, "fields"), name, value)
    {
        put_fact(out, name, json_string_value(value) != NULL ? json_string_value(value) : "");
    }
    put_fact(out, "Remarks", field_text_or_empty(sheet->about, "remarks"));
    fputs("</dl>", out);
}

static void put_result(FILE *out, const json_t *item, int digits)
{
    char text[NOTATION_SIZE];
    const char *const verdict = job_verdict(item);
    const bool bad = strcmp(verdict, "fail") == 0 || strcmp(verdict, "no reading") == 0;
    const bool doubt = strncmp(verdict, "conditional", strlen("conditional")) == 0;
    put_in(out, "<td class=v>", job_value(item, digits, text, sizeof text), "</td>");
    put_in(out, bad ? "<td class=fail>" : doubt ? "<td class=doubt>" : "<td>", verdict, "</td>");
}

static void write_lines(const struct job_sheet *sheet, int digits, FILE *out)
{
    fputs("<h2>Readings</h2><p>Each with its expanded uncertainty, about 95 % coverage. A verdict "
          "takes it into account.</p><div class=wide><table><thead><tr><th>Point<th>Serial number"
          "<th>Limits<th>Before<th>Verdict<th>After<th>Verdict</tr></thead><tbody>",
          out);
    for (size_t i = 0; i < sheet->line_count; i++) {
        const struct job_line *const line = &sheet->lines[i];
        const json_t *const reading =
            field_at(line->after != NULL ? line->after : line->before, "reading");
        char text[READING_TEXT];
        put_in(out, "<tr><td>", line->point, "</td>");
        put_in(out, "<td>", line->serial, "</td>");
        put_in(out, "<td class=v>",
               reading_limits_text(field_at(reading, "limits"),
                                   field_text_or_empty(reading, "unit"), text),
               "</td>");
        put_result(out, line->before, digits);
        put_result(out, line->after, digits);
        fputs("</tr>", out);
    }
    fputs("</tbody></table></div>", out);
}

static void put_instrument(FILE *out, const json_t *instrument)
{
    static const char *const members[] = { "name", "identity", "certificate", "calibration_due" };
    fputs("<tr>", out);
    for (size_t i = 0; i < sizeof members / sizeof *members; i++)
        put_in(out, "<td>", field_text_or_empty(instrument, members[i]), "</td>");
    fputs("</tr>", out);
}

/* Each instrument once, as often as it changed between readings. */
static void write_instruments(const struct job_sheet *sheet, FILE *out)
{
    json_t *const seen = json_array();
    fputs("<h2>Instruments</h2><div class=wide><table><thead><tr><th>Instrument<th>Identity"
          "<th>Certificate<th>Calibration due</tr></thead><tbody>",
          out);
    for (size_t i = 0; i < json_array_size(sheet->items); i++) {
        json_t *const reading = json_object_get(json_array_get(sheet->items, i), "reading");
        json_t *const instrument = json_object_get(reading, "instrument");
        bool known = instrument == NULL;
        for (size_t j = 0; !known && j < json_array_size(seen); j++)
            known = json_equal(json_array_get(seen, j), instrument) == 1;
        if (known)
            continue;
        json_array_append(seen, instrument);
        put_instrument(out, instrument);
    }
    fputs("</tbody></table></div>", out);
    json_decref(seen);
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
