/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "report_form.h"

static void write_value(const json_t *value, FILE *out)
{
    json_dumpf(value, out, JSON_COMPACT | JSON_ENCODE_ANY | JSON_REAL_PRECISION(17));
}

void report_json_begin(const struct report *report, FILE *out)
{
    json_t *run = json_string(report->run);
    fputs("{\"run\":", out);
    write_value(run, out);
    fputs(",\n\"events\":", out);
    write_value(report->events, out);
    fputs(",\n\"points\":[\n", out);
    json_decref(run);
}

void report_json_point(const json_t *study, bool first, FILE *out)
{
    fputs(first ? "" : ",\n", out);
    write_value(study, out);
}

void report_json_end(FILE *out)
{
    fputs("\n]}\n", out);
}
