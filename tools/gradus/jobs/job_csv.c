/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A job as a table for spreadsheets: numbers in full, units in columns of their own. */
#include "job_sheet.h"
#include "tools/gradus/answers/csv.h"
#include "tools/gradus/basics/field.h"

#include <math.h>

static void put_number(FILE *out, double number)
{
    char text[CSV_NUMBER_SIZE];
    fputc(',', out);
    if (isfinite(number))
        fputs(csv_number(text, number), out);
}

static void put_text(FILE *out, const char *text)
{
    fputc(',', out);
    csv_field(out, text);
}

/* Value, uncertainty, verdict, why there is no value, and when. */
static void put_item(FILE *out, const json_t *item)
{
    put_number(out, field_number(item, "reading.value"));
    put_number(out, field_number(item, "reading.uncertainty"));
    put_text(out, job_verdict(item));
    put_text(out, field_text_or_empty(item, "error.message"));
    put_text(out, field_text_or_empty(item, "time"));
}

/* The reading of a line that limits, unit and instrument are told of; NULL: it has none. */
static const json_t *reading_of(const struct job_line *line)
{
    const json_t *const after = field_at(line->after, "reading");
    return after != NULL ? after : field_at(line->before, "reading");
}

void job_csv(const struct job_sheet *sheet, FILE *out)
{
    fputs("job,point,serial,unit,low,high,before,before_uncertainty,before_verdict,before_reason,"
          "before_time,after,after_uncertainty,after_verdict,after_reason,after_time,instrument,"
          "certificate,calibration_due\r\n",
          out);
    for (size_t i = 0; i < sheet->line_count; i++) {
        const struct job_line *const line = &sheet->lines[i];
        const json_t *const reading = reading_of(line);
        csv_field(out, field_text_or_empty(sheet->about, "name"));
        put_text(out, line->point);
        put_text(out, line->serial);
        put_text(out, field_text_or_empty(reading, "unit"));
        put_number(out, field_number(reading, "limits.low"));
        put_number(out, field_number(reading, "limits.high"));
        put_item(out, line->before);
        put_item(out, line->after);
        put_text(out, field_text_or_empty(reading, "instrument.name"));
        put_text(out, field_text_or_empty(reading, "instrument.certificate"));
        put_text(out, field_text_or_empty(reading, "instrument.calibration_due"));
        fputs("\r\n", out);
    }
}
