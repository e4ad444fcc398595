/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A job on paper: what stands where. */
#include "core/basics/notation.h"
#include "job_sheet.h"
#include "tools/gradus/answers/reading.h"
#include "tools/gradus/basics/field.h"
#include "tools/gradus/report/paper.h"

#include <math.h>
#include <string.h>

static const double logo_width = 150, logo_height = 60, fact_width = 110, sign_height = 70;

/* What is being laid out, and what on. */
struct page {
    const struct job_sheet *sheet;
    int digits;
    struct paper *paper;
};

static void put_shop(struct page *page)
{
    struct paper *const paper = page->paper;
    const json_t *const shop = page->sheet->shop;
    const double top = paper->y, width = paper_width - logo_width - 10;
    double low = top;
    if (shop == NULL)
        return;
    low += paper_picture(paper, field_text_or_empty(shop, "logo"), paper_margin + paper_width, top,
                         logo_width, logo_height);
    paper->y += paper_put(paper, INK_TEXT, 10.5, PAPER_BOLD, paper_margin, top, width,
                          field_text_or_empty(shop, "name"));
    paper->y += paper_put(paper, INK_TEXT, paper_plain, PAPER_PLAIN, paper_margin, paper->y, width,
                          field_text_or_empty(shop, "address"));
    paper->y = fmax(paper->y, low) + 14;
}

static void put_fact(void *context, const char *what, const char *text)
{
    struct paper *const paper = ((struct page *)context)->paper;
    const double width = paper_width - fact_width;
    paper_need(paper, paper_height(paper, paper_plain, PAPER_PLAIN, width, text));
    const double left = paper_put(paper, INK_FAINT, paper_plain, PAPER_PLAIN, paper_margin,
                                  paper->y, fact_width - 8, what);
    const double right = paper_put(paper, INK_TEXT, paper_plain, PAPER_PLAIN,
                                   paper_margin + fact_width, paper->y, width, text);
    paper->y += fmax(left, right) + 2;
}

static void put_line(struct page *page, const struct job_line *line)
{
    char limits[READING_TEXT], before[NOTATION_SIZE], after[NOTATION_SIZE];
    const char *const verdict = job_verdict(line->after != NULL ? line->after : line->before);
    const bool bad = strcmp(verdict, "fail") == 0 || strcmp(verdict, "no reading") == 0;
    const bool doubt = strncmp(verdict, "conditional", strlen("conditional")) == 0;
    const char *const cells[] = { line->point,
                                  line->serial,
                                  job_limits(line, limits),
                                  job_value(line->before, page->digits, before, sizeof before),
                                  job_verdict(line->before),
                                  job_value(line->after, page->digits, after, sizeof after),
                                  job_verdict(line->after) };
    paper_row(page->paper, bad ? INK_BAD : doubt ? INK_LIMIT : INK_TEXT, cells, 0);
}

static void put_lines(struct page *page)
{
    static const struct paper_column columns[] = { { "point", 84 },   { "serial number", 62 },
                                                   { "limits", 80 },  { "before", 90 },
                                                   { "verdict", 50 }, { "after", 90 },
                                                   { "verdict", 49 } };
    const struct job_sheet *const sheet = page->sheet;
    paper_table(page->paper, "Readings", columns, sizeof columns / sizeof *columns,
                sheet->line_count);
    for (size_t i = 0; i < sheet->line_count; i++)
        put_line(page, &sheet->lines[i]);
}

static void put_instrument(void *context, const json_t *instrument)
{
    const char *const cells[] = { field_text_or_empty(instrument, "name"),
                                  field_text_or_empty(instrument, "identity"),
                                  field_text_or_empty(instrument, "certificate"),
                                  field_text_or_empty(instrument, "calibration_due") };
    paper_row(((struct page *)context)->paper, INK_TEXT, cells, 0);
}

static void count_instrument(void *context, const json_t *instrument)
{
    (void)instrument;
    ++*(size_t *)context;
}

static void put_instruments(struct page *page)
{
    static const struct paper_column columns[] = {
        { "instrument", 90 }, { "identity", 225 }, { "certificate", 100 }, { "calibration due", 90 }
    };
    size_t count = 0;
    job_instruments(page->sheet, count_instrument, &count);
    if (count == 0)
        return;
    paper_table(page->paper, "Instruments", columns, sizeof columns / sizeof *columns, count);
    job_instruments(page->sheet, put_instrument, page);
}

/* Lines to write on, all of them on one page. */
static void put_signature(struct page *page)
{
    static const char *const words[] = { "Place, date", "Measured by", "Signature" };
    struct paper *const paper = page->paper;
    const struct pen pen = paper_pen(paper);
    const double width = paper_width / 3;
    paper->columns = NULL;
    paper->column_count = 0;
    paper_need(paper, sign_height);
    paper->y += sign_height - 20;
    for (size_t i = 0; i < sizeof words / sizeof *words; i++) {
        const double x = paper_margin + (double)i * width;
        pen.line(pen.context, INK_TEXT, 0.7, x, paper->y, x + width - 18, paper->y);
        paper_put(paper, INK_FAINT, paper_small, PAPER_PLAIN, x, paper->y + 3, 0, words[i]);
    }
    paper->y += 20;
}

static void lay_out(struct paper *paper, const void *context)
{
    struct page page = *(const struct page *)context;
    char title[256];
    page.paper = paper;
    put_shop(&page);
    snprintf(title, sizeof title, "Test report: %.200s",
             field_text_or_empty(page.sheet->about, "name"));
    paper_paragraph(paper, INK_TEXT, 17, PAPER_BOLD, title);
    paper->y += 4;
    job_facts(page.sheet, put_fact, &page);
    put_lines(&page);
    paper_paragraph(paper, INK_FAINT, paper_small + 1, PAPER_PLAIN, job_readings_note);
    put_instruments(&page);
    put_signature(&page);
}

bool job_pdf(const struct job_sheet *sheet, int digits, FILE *out)
{
    const struct page page = { .sheet = sheet, .digits = digits };
    char title[256];
    snprintf(title, sizeof title, "Test report %.200s", field_text_or_empty(sheet->about, "name"));
    return paper_write(out, title, lay_out, &page);
}
